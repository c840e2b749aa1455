"""Products: the studio's catalogue."""

from __future__ import annotations

from django_filters import rest_framework as filters

from studio.api.base import RecordViewSet
from studio.api.equipment_history import WithHistory
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, StrictModelSerializer
from studio.records.models import Product
from studio.records.services.equipment import product_create, product_delete, product_update

FIELDS = ("category", "name", "maker", "variant", "list_price", "currency", "mass_kg")


class ProductIn(StrictModelSerializer[Product]):
    class Meta:
        model = Product
        fields = FIELDS


class ProductOut(ModelShape[Product]):
    class Meta:
        model = Product
        fields = ("id", *FIELDS, "created_at", "updated_at")


class ProductFilters(StudioFilters):
    category = filters.CharFilter()
    name = filters.CharFilter()


class ProductViewSet(WithHistory, RecordViewSet[Product]):
    route = "products"
    queryset = Product.objects.all()
    into, out, filterset_class = ProductIn, ProductOut, ProductFilters
    record_create = staticmethod(product_create)
    record_update = staticmethod(product_update)
    record_delete = staticmethod(product_delete)
