"""Riders who tested two products each: differences that grow with height, and one rider far off."""

import numpy as np

from tests.factories import ArmFactory, ConsentFactory, FieldSessionFactory, ProductFactory, RiderFactory

SLOPE_M2_PER_CM = 0.0004


def entered(studio, riders=14, *, agreed=True):
    """Wheels of two products; riders from 160 cm up, a study each."""
    rng = np.random.default_rng(3)
    products = [ProductFactory(studio=studio, name=name) for name in ("Tarn 40", "Tarn 50")]
    made = []
    for at in range(riders):
        rider = RiderFactory(studio=studio, code=f"R-{at:02d}", height_cm=160.0 + 2.0 * at)
        if agreed:
            ConsentFactory(rider=rider, purpose="pooled_results")
        session = FieldSessionFactory(rider=rider)
        numbers = {"height_cm": rider.height_cm, "mean_speed_mps": rng.uniform(9.0, 12.0), "mean_abs_yaw_deg": None}
        difference = -0.004 + SLOPE_M2_PER_CM * (2.0 * at - 13.0) + rng.normal(0.0, 0.0004)
        for product, value in zip(products, (0.25, 0.25 + difference), strict=True):
            ArmFactory(analysis__session=session, product=product, cda_m2=value, se_m2=0.0004, **numbers)
        made.append(rider)
    return products, made


def question(products, **more):
    reference, product = products
    return {"category": product.category, "product": str(product.pk), "reference": str(reference.pk), **more}
