"""Figures of an invented category, as an edition keeps them beside its products."""

FIGURES = {
    "tau_m2": 0.001,
    "tau_dl_m2": 0.0011,
    "q": 12.0,
    "df": 9,
    "i2": 0.25,
    "inconsistency_p": 0.5,
    "interval_method": "hartung-knapp",
    "quantile": 2.0,
    "prediction_df": 8,
}
