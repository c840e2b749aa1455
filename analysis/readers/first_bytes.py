"""By which of its bytes a format is told, so that only the reader that is needed has to be loaded."""

FIT_MAGIC = b".FIT"  # from the ninth byte of the header
XML_STARTS = (b"<", b"\xff\xfe<\0", b"\xfe\xff\0<")  # UTF-8 and its kin; UTF-16 in either order
