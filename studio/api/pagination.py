"""Lists are pages by cursor, newest first: ids order by time, so `-id` never shifts or drops a row."""

from rest_framework.pagination import CursorPagination


class NewestFirst(CursorPagination):
    """50 rows a page; `?cursor=` from the answer's `next` and `previous`."""

    ordering = "-id"
    page_size = 50
