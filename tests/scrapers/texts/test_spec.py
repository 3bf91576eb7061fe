"""Specifications from titles. Cell voltages, C x Ah, motor names: references named beside them."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scrapers.texts import read_spec

# Lithium polymer 3.7 V nominal a cell, high-voltage 3.8 V, 4.2 and 4.35 V full (hobby references);
# iron phosphate 3.3 V, nickel metal hydride 1.2 V: common practice
BATTERIES = [
    ("LiPo 4S 3300mAh 14.8V 45C XT60", {"chemistry": "LiPo", "cells": "4", "capacity_mAh": "3300", "voltage": "14.8", "c_rating": "45", "plug": "XT60"}),
    ("3S 5000 mAh 11,1V 50C/100C 55.5Wh EC5", {"cells": "3", "capacity_mAh": "5000", "voltage": "11.1", "c_rating": "50", "c_burst": "100", "wh": "55.5", "plug": "EC5"}),
    ("Battery 14.8V 3.300 mAh", {"cells": "4", "capacity_mAh": "3300", "voltage": "14.8"}),
    ("LiPo 4S1P 2200mAh 35C T-Plug", {"chemistry": "LiPo", "cells": "4", "capacity_mAh": "2200", "c_rating": "35", "plug": "T plug"}),
    ("LiPo 6S2P 10Ah", {"chemistry": "LiPo", "cells": "6", "parallel": "2", "capacity_mAh": "10000"}),
    ("LiHV 4S 1500mAh 15.2V 100C XT60", {"chemistry": "LiHV", "cells": "4", "capacity_mAh": "1500", "voltage": "15.2", "c_rating": "100", "plug": "XT60"}),
    ("LiPo 15.2V 1300mAh", {"chemistry": "LiHV", "cells": "4", "capacity_mAh": "1300", "voltage": "15.2"}),
    ("6S 5Ah 22.2V", {"cells": "6", "capacity_mAh": "5000", "voltage": "22.2"}),
    ("LiFe 2S 6.6V 2100mAh", {"chemistry": "LiFe", "cells": "2", "capacity_mAh": "2100", "voltage": "6.6"}),
    ("NiMH 7.2V 3000mAh Tamiya", {"chemistry": "NiMH", "cells": "6", "capacity_mAh": "3000", "voltage": "7.2", "plug": "Tamiya"}),
]  # fmt: skip


@pytest.mark.parametrize(("title", "values"), BATTERIES)
def test_battery(title: str, values: dict[str, str]) -> None:
    spec = read_spec(title)
    assert spec.values == values
    assert spec.family == "battery"
    assert spec.conflicts == ()


# Pack voltage = cells x 3.7 V: the table of 1S to 6S in hobby references
@pytest.mark.parametrize(
    ("cells", "volts"), [(1, "3.7"), (2, "7.4"), (3, "11.1"), (4, "14.8"), (5, "18.5"), (6, "22.2")]
)
def test_cells_and_volts_agree(cells: int, volts: str) -> None:
    assert read_spec(f"{cells}S 2200mAh {volts}V LiPo").conflicts == ()
    full = Decimal("4.2") * cells
    assert read_spec(f"{cells}S 2200mAh {full}V LiPo").conflicts == ()
    assert read_spec(f"LiPo 2200mAh {volts}V").values["cells"] == str(cells)


# Wh = cells x 3.7 x Ah: 3S 5000 mAh holds 55.5 Wh, 6S 4500 mAh 99.9 Wh
@pytest.mark.parametrize(
    ("title", "agrees"),
    [
        ("3S 5000mAh 55.5Wh", True),
        ("3S 5000mAh 56.5Wh", True),  # within 2 %
        ("3S 5000mAh 57Wh", False),
        ("6S 4500mAh 99.9Wh", True),
        ("3S 5000mAh 50Wh", False),
    ],
)
def test_energy(title: str, agrees: bool) -> None:
    conflicts = read_spec(title).conflicts
    assert (conflicts == ()) is agrees
    assert agrees or "Wh is printed" in conflicts[0]


def test_cells_against_volts() -> None:
    spec = read_spec("LiPo 3S 2200mAh 14.8V")
    assert spec.conflicts == ("3 cells x 3.7 V = 11.1 V, but 14.8 V is printed",)


def test_text_fills_what_the_title_leaves_out() -> None:
    spec = read_spec("LiPo 4S 3300mAh", "Voltage 14.8 V, plug XT60, discharge 45C. Also: 2200mAh")
    assert spec.values["capacity_mAh"] == "3300"
    assert spec.values["voltage"] == "14.8"
    assert (spec.values["plug"], spec.values["c_rating"]) == ("XT60", "45")


# 3650 is a can of 36 mm diameter and 50 mm length of an inrunner, 2205 a stator of 22 x 5 mm
# of a multirotor motor, D2836/8 a case of 28 x 36 mm with 8 turns (motor size guides)
MOTORS = [
    ("Brushless motor 2205 2300KV FPV", {"kv": "2300", "stator": "22x5"}),
    ("3650 inrunner 3900kv sensored", {"kv": "3900", "can": "36x50"}),
    ("Motor 3650 KV 1.900 wassergekühlt", {"kv": "1900", "can": "36x50"}),
    ("D2836/8 1100KV outrunner", {"kv": "1100", "can": "28x36", "turns": "8"}),
    ("A2212 1000 KV", {"kv": "1000", "stator": "22x12"}),
    ("Motor 2306.5 1750kv quad", {"kv": "1750", "stator": "23x6.5"}),
    ("980 rpm/V motor 2814", {"kv": "980", "stator": "28x14"}),
    ("Motor KV980", {"kv": "980"}),
    ("Motor 980kv 3-4S", {"kv": "980", "cells_min": "3", "cells_max": "4"}),
    (
        "Combo 3650 3900KV inrunner motor + 60A ESC",
        {"kv": "3900", "can": "36x50", "current_a": "60"},
    ),
]


@pytest.mark.parametrize(("title", "values"), MOTORS)
def test_motor(title: str, values: dict[str, str]) -> None:
    spec = read_spec(title)
    assert (spec.family, spec.values, spec.conflicts) == ("motor", values, ())


def test_motor_size_of_unknown_family_is_asked() -> None:
    spec = read_spec("3520 outrunner KV980")
    assert spec.values == {"kv": "980"}
    assert "say which" in spec.conflicts[0]


OTHERS = [
    ("ESC 60A 2-6S BEC 5.5V/4A", "controller", {"bec_v": "5.5", "bec_a": "4", "current_a": "60", "cells_min": "2", "cells_max": "6"}),
    ("Regler 40 A 3S", "controller", {"current_a": "40", "cells_max": "3"}),
    ("Servo 25kg.cm 25T digital", "servo", {"torque_kg_cm": "25", "spline": "25T"}),
    ("Glass cloth 163 g/m² twill", "cloth", {"areal_mass_g_m2": "163"}),
    ("Kevlar 170 gsm", "cloth", {"areal_mass_g_m2": "170"}),
    # 1 oz/yd2 = 33.906 g/m2
    ("Glass cloth 4 oz", "cloth", {"areal_mass_g_m2": "135.6"}),
    ("Fabric 6 oz/yd2", "cloth", {"areal_mass_g_m2": "203.4"}),
    ("Birch ply 1,5 mm 600 x 300 mm", "sheet", {"size_mm": "600x300", "thickness_mm": "1.5"}),
    ("Balsa sheet 900 x 300 x 2 mm", "sheet", {"size_mm": "900x300", "thickness_mm": "2"}),
    ("Silicone wire 14AWG 2 m", "wire", {"awg": "14"}),
    ("Propeller 10x6", "propeller", {"prop": "10x6"}),
    ("Bolt M3 x 10", None, {"thread": "M3"}),
    ("Blue decal", None, {}),
]  # fmt: skip


@pytest.mark.parametrize(("title", "family", "values"), OTHERS)
def test_other_parts(title: str, family: str | None, values: dict[str, str]) -> None:
    spec = read_spec(title)
    assert (spec.family, spec.values, spec.conflicts) == (family, values, ())


@given(st.text(max_size=80), st.text(max_size=80))
def test_no_text_raises(title: str, text: str) -> None:
    assert all(isinstance(value, str) for value in read_spec(title, text).values.values())


WORDS = [
    "4S",
    "0S",
    "mAh",
    "3300",
    "0",
    " V",
    "14,8",
    "Wh",
    "C",
    "KV",
    "3650",
    "ESC ",
    "A",
    " x ",
    "mm",
    "sheet ",
    "g/m2",
    "oz ",
    "cloth ",
    "LiPo ",
    "/",
    "M3",
]


@given(st.lists(st.sampled_from(WORDS), max_size=9).map("".join))
def test_no_title_raises(title: str) -> None:
    read_spec(title, title)
