"""Copper cables: cross-section by gauge, resistance by length and temperature, voltage drop."""

from __future__ import annotations

from math import pi

from batterymodel.inputs.records import Cable

COPPER_OHM_M = 1.7241e-8
"""Resistivity of annealed copper at `COPPER_TEMP_C` [ohm m], the international standard of 1913:
100 % IACS, 58 MS/m (IEC 60028, from memory (high))."""

COPPER_PER_C = 0.00393
"""Rise of that resistance per degree, at `COPPER_TEMP_C` [1/K] (IEC 60028, from memory (high))."""

COPPER_TEMP_C = 20.0
"""Temperature of both [degC] (IEC 60028, from memory (high))."""

SMALLEST_MM = 0.127
"""Diameter of gauge 36 [mm]: 0.005 inch (ASTM B258, from memory (high))."""

GAUGE_RATIO = 92.0
"""Diameter of gauge 0000 over that of gauge 36 [-], in `GAUGE_STEPS` equal ratios (ASTM B258, from
memory (high))."""

GAUGE_STEPS = 39

BUNDLED_A = {
    20: 7.5,
    18: 10.0,
    16: 13.0,
    14: 17.0,
    12: 23.0,
    10: 33.0,
    8: 46.0,
    6: 60.0,
    4: 80.0,
    2: 100.0,
    1: 125.0,
    0: 150.0,
    -1: 175.0,
    -2: 200.0,
    -3: 225.0,
}
"""Current that copper wire of a gauge carries in a conduit or bundle [A] (MIL-W-5088, as in FAA
AC 65-15A, current carrying capacity of copper wire, from memory (medium)). Not seen: it asks to
look at the cable and is no limit of any."""

WIRE_TABLE = "MIL-W-5088, copper wire in conduit or bundle (from memory, not seen)"

SAME_AREA = 0.99
"""Part of a gauge's cross-section from which on a conductor counts as that gauge [-] (own choice:
cross-sections are rounded where they are stated)."""

UNSTATED_CONTACTS_OHM = 0.002
"""Resistance of plugs and clamps, both ways, where none is stated [ohm] (own choice: 0.1 V at
50 A)."""

CABLE_REL_SD = 0.05
"""Spread of a cable's resistance about the formula [-] (own choice: strands lie in a helix, which
lengthens them by some percent, and a conductor's temperature is not known to ten degrees)."""


def gauge_diameter_mm(gauge_awg: int) -> float:
    """Diameter of a solid conductor of an American wire gauge.

    ``d = SMALLEST_MM GAUGE_RATIO^((36 - n) / GAUGE_STEPS)``.

    Parameters
    ----------
    gauge_awg : int
        The gauge n; 0 is 1/0, -1 is 2/0, -3 is 4/0.

    Returns
    -------
    float
        Diameter [mm].

    References
    ----------
    ASTM B258 (from memory (high)).

    Examples
    --------
    >>> round(gauge_diameter_mm(36), 3), round(gauge_diameter_mm(-3), 3)
    (0.127, 11.684)
    """
    return float(SMALLEST_MM * GAUGE_RATIO ** ((36 - gauge_awg) / GAUGE_STEPS))


def conductor_area_mm2(cable: Cable) -> float:
    """Cross-section of one conductor of a cable: the stated one, else that of its gauge.

    Parameters
    ----------
    cable : Cable

    Returns
    -------
    float
        Area [mm^2].

    Examples
    --------
    >>> round(conductor_area_mm2(Cable(length_m=6.0, gauge_awg=10)), 2)
    5.26
    """
    if cable.area_mm2 is not None:
        return cable.area_mm2
    assert cable.gauge_awg is not None  # the record has one of the two
    return pi / 4.0 * gauge_diameter_mm(cable.gauge_awg) ** 2


def bundled_a(cable: Cable) -> float | None:
    """Current of a wire table for the largest listed gauge that is no thicker than the cable.

    Parameters
    ----------
    cable : Cable

    Returns
    -------
    float or None
        [A]; None for conductors thinner than any listed.

    References
    ----------
    `BUNDLED_A`.

    Examples
    --------
    >>> bundled_a(Cable(length_m=6.0, gauge_awg=3)), bundled_a(Cable(length_m=6.0, area_mm2=10.0))
    (80.0, 46.0)
    """
    area_mm2 = conductor_area_mm2(cable)
    carried = [
        amperes
        for gauge, amperes in BUNDLED_A.items()
        if area_mm2 >= SAME_AREA * conductor_area_mm2(Cable(length_m=1.0, gauge_awg=gauge))
    ]
    return max(carried, default=None)


def conductor_ohm(area_mm2: float, length_m: float, temp_c: float = COPPER_TEMP_C) -> float:
    """Resistance of a copper conductor to direct current.

    ``R = COPPER_OHM_M (1 + COPPER_PER_C (T - 20 degC)) l / A``.

    Parameters
    ----------
    area_mm2 : float
        Cross-section [mm^2], above 0.
    length_m : float
        Length of the conductor [m].
    temp_c : float
        Its temperature [degC], -60 to 120.

    Returns
    -------
    float
        Resistance [ohm].

    Notes
    -----
    Solid annealed copper. Strands are some percent longer than the cable: `CABLE_REL_SD`.

    References
    ----------
    IEC 60028 (from memory (high)).

    Examples
    --------
    >>> round(1000.0 * conductor_ohm(10.0, 1.0), 4)
    1.7241
    """
    warm = 1.0 + COPPER_PER_C * (temp_c - COPPER_TEMP_C)
    return COPPER_OHM_M * warm * length_m / (area_mm2 * 1e-6)


def cable_ohm(cable: Cable) -> float:
    """Resistance of a cable out and return, with its contacts.

    Parameters
    ----------
    cable : Cable

    Returns
    -------
    float
        Resistance [ohm]; contacts that are not stated count as `UNSTATED_CONTACTS_OHM`.

    Examples
    --------
    >>> cable = Cable(length_m=6.0, gauge_awg=2, contacts_ohm=0.0)
    >>> round(1000.0 * cable_ohm(cable), 2)
    6.15
    """
    contacts = UNSTATED_CONTACTS_OHM if cable.contacts_ohm is None else cable.contacts_ohm
    both_ways_m = 2.0 * cable.length_m
    area_mm2 = conductor_area_mm2(cable)
    return conductor_ohm(area_mm2, both_ways_m, cable.conductor_temp_c) + contacts


def cable_drop_v(cable: Cable | None, current_a: float) -> float:
    """Voltage lost between supply and aircraft, ``I R``.

    Parameters
    ----------
    cable : Cable, optional
        Without one nothing is lost.
    current_a : float
        Current in the cable [A].

    Returns
    -------
    float
        Drop [V].

    Examples
    --------
    >>> round(cable_drop_v(Cable(length_m=6.0, gauge_awg=2, contacts_ohm=0.0), 50.0), 2)
    0.31
    """
    return 0.0 if cable is None else current_a * cable_ohm(cable)
