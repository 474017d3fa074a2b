"""Heat of friction, what heat does to limits, and running clearance when things get warm.

Sources: definitions for the heat; Arrhenius with activation energies from studies of polyester in
water and caustic; closing of a pressed bush from elasticity (thin ring, Poisson's ratio about 0.4)
and from the rule that its cross-section grows freely inside the housing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from forecast.physics.sizes import SIZE_AT, close_in

GAS_CONSTANT: Final = 8.314462618
"""J/(mol K), exact to all digits given."""

KELVIN: Final = 273.15
POISSON: Final = 0.4
"""Poisson's ratio of thermoplastics, about."""


def friction_heat(friction: float, force_n: float, speed_m_s: float) -> float:
    """Return the heat of friction, W: mu F v."""
    return friction * force_n * speed_m_s


def heat_flux(friction: float, pressure_mpa: float, speed_m_s: float) -> float:
    """Return the heat of friction on the projected area, W/cm2 (mu p v is in W/mm2)."""
    return 100.0 * friction * pressure_mpa * speed_m_s


def derated_pv(pv_25_mpa_m_s: float, temperature_c: float, max_temperature_c: float) -> float:
    """Return a limiting PV at a surrounding temperature, MPa m/s.

    A straight line from the value at 25 C to nothing at the highest temperature: an editor's
    approximation, common practice without a source. Below 25 C nothing is gained.
    """
    if max_temperature_c <= 25.0:
        raise ValueError(f"the highest temperature should be above 25 C, got {max_temperature_c}")
    share = (max_temperature_c - temperature_c) / (max_temperature_c - 25.0)
    return pv_25_mpa_m_s * min(max(share, 0.0), 1.0)


def arrhenius(energy_kj_mol: float, from_c: float, to_c: float) -> float:
    """Return how many times faster a reaction runs at another temperature.

    Parameters
    ----------
    energy_kj_mol
        Activation energy: 31 for polyester in water below its glass transition, 134 above it,
        54.2 in caustic soda from 50 to 80 C.
    from_c, to_c
        Temperatures.
    """
    step = 1.0 / (from_c + KELVIN) - 1.0 / (to_c + KELVIN)
    return math.exp(energy_kj_mol * 1000.0 / GAS_CONSTANT * step)


@dataclass(frozen=True)
class PressedBush:
    """A bush pressed into a metal housing, sizes at 20 C in mm, expansions in 1/K.

    Attributes
    ----------
    housing_mm, bore_mm
        Bore of the housing, and of the bush in place.
    bush_cte, housing_cte
        Linear expansion.
    """

    housing_mm: float
    bore_mm: float
    bush_cte: float
    housing_cte: float

    def bore_change(
        self, temperature_c: float, model: str = "area", swelling: float = 0.0
    ) -> float:
        """Return by how much the bore changes warm and wet (negative: it closes), mm.

        Parameters
        ----------
        temperature_c
            Of bush and housing.
        model
            ``area``: the cross-section grows freely, the outside follows the housing;
            ``axial_free`` and ``axial_fixed``: a thin ring, free or held along its axis. Area and
            axial_fixed are the safe ones; the shortcut ``2 s a dT`` is far too small.
        swelling
            Share of its length by which the bush would grow in water if it were free.
        """
        warm = temperature_c - SIZE_AT
        outer, inner = self.housing_mm, self.bore_mm
        if model == "area":
            outside = (outer * (1 + self.housing_cte * warm)) ** 2
            free = (1 + self.bush_cte * warm) * (1 + swelling)
            section = (outer**2 - inner**2) * free**2
            if outside <= section:
                raise ValueError(f"the bush has no bore left at {temperature_c} C")
            return math.sqrt(outside - section) - inner
        if model not in ("axial_free", "axial_fixed"):
            raise ValueError(f"model {model!r} is none of area, axial_free, axial_fixed")
        squeeze = POISSON if model == "axial_free" else 2 * POISSON / (1 - POISSON)
        own, held = self.bush_cte * warm + swelling, self.housing_cte * warm
        return held * outer - (outer - inner) * (own + squeeze * (own - held))

    def clearance(
        self,
        shaft_mm: float,
        shaft_cte: float,
        temperature_c: float,
        model: str = "area",
        swelling: float = 0.0,
    ) -> float:
        """Return the running clearance on the diameter when bush and shaft are warm, mm.

        Negative: the shaft is gripped. The shaft grows, the bore closes: both take from it.
        """
        shaft = shaft_mm * (1 + shaft_cte * (temperature_c - SIZE_AT))
        return self.bore_mm + self.bore_change(temperature_c, model, swelling) - shaft


def running_clearance(
    bush: tuple[float, float],
    housing_mm: float,
    shaft_mm: float,
    *,
    ctes: tuple[float, float, float],
    temperature_c: float,
    swelling: float = 0.0,
    model: str = "area",
) -> float:
    """Return the running clearance of a bush pressed in, warm and wet, on the diameter, mm.

    Pressing in closes the bore, heat closes it further and swells the shaft, water swells the
    bush: all four take from the clearance that shaft and free bush have on the bench.

    Parameters
    ----------
    bush
        Bore and outside diameter of the free, dry bush at 20 C, mm.
    housing_mm, shaft_mm
        Bore of the housing and diameter of the shaft at 20 C.
    ctes
        Linear expansion of bush, housing and shaft, 1/K.
    temperature_c
        Of all of them.
    swelling
        Share of its length by which the free bush grows in water:
        ``moisture_growth(1.0, water_percent, growth)``.
    model
        As for :meth:`PressedBush.bore_change`.

    Returns
    -------
    float
        Negative: the shaft is gripped.

    Raises
    ------
    ValueError
        If the bush has no bore left.
    """
    bore = pressed_bore(bush[0], bush[1], housing_mm)
    in_place = PressedBush(housing_mm, bore, ctes[0], ctes[1])
    return in_place.clearance(shaft_mm, ctes[2], temperature_c, model, swelling)


def pressed_bore(bore_free_mm: float, bush_outer_mm: float, housing_mm: float) -> float:
    """Return the bore of a bush after pressing it in, mm (area rule)."""
    return bore_free_mm - close_in(bush_outer_mm - housing_mm, housing_mm, bore_free_mm)


def moisture_growth(size_mm: float, water_percent: float, linear_per_percent: float) -> float:
    """Return by how much a part grows in water, mm: size x water x growth per per cent of water.

    Nylons grow by 0.002 to 0.003 of their length for each per cent of water by mass (common
    practice, no source); bearing grades of polyester hardly at all.
    """
    return size_mm * water_percent * linear_per_percent


def assembly_clearance(wall_mm: float) -> float:
    """Return the clearance that one sizing rule for polymer bushes asks for, mm.

    0.05 mm + 0.02 of the wall; one maker's printed rule, of the order only.
    """
    return 0.05 + 0.02 * wall_mm


def press_fit(housing_mm: float) -> float:
    """Return the interference that the same rule asks for, mm: 0.05 + 0.002 of the housing."""
    return 0.05 + 0.002 * housing_mm
