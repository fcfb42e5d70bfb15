"""Air as an ideal gas, and the reference atmosphere of flow ratings.

Sources: ISO 8778 reference atmosphere ANR (20 degC, 100 kPa, 65 % relative humidity, 1.185 kg/m3),
value from memory; Sutherland's law constants for air from memory (White, *Viscous Fluid Flow*).
The ideal gas is checked against a table of real air in ``tests/reference``.
"""

from __future__ import annotations

import math

GAS_CONSTANT = 287.05
"""Specific gas constant of air [J/(kg K)]."""

HEAT_RATIO = 1.4
"""Ratio of specific heats k [-]."""

CV = GAS_CONSTANT / (HEAT_RATIO - 1.0)
"""Specific heat at constant volume [J/(kg K)]."""

CP = CV * HEAT_RATIO
"""Specific heat at constant pressure [J/(kg K)]."""

REFERENCE_DENSITY = 1.185
"""Density of air in the reference atmosphere ANR [kg/m3]."""

REFERENCE_TEMPERATURE = 293.15
"""Temperature of the reference atmosphere ANR [K]."""

REFERENCE_PRESSURE = 100_000.0
"""Pressure of the reference atmosphere ANR [Pa absolute]."""

VISCOSITY_REFERENCE = 1.716e-5
"""Dynamic viscosity at 273.15 K [Pa s]."""

SUTHERLAND = 110.4
"""Sutherland's temperature for air [K]."""

ORIFICE_CRITICAL = (2.0 / (HEAT_RATIO + 1.0)) ** (HEAT_RATIO / (HEAT_RATIO - 1.0))
"""Critical pressure ratio of an ideal nozzle [-]: 0.5283 for k = 1.4."""


def orifice_conductance(area: float, discharge: float = 0.65) -> float:
    """Sonic conductance of a hole in a wall.

    C = Cd A psi_max / (rho0 sqrt(R T0)), psi_max = sqrt(k) (2/(k+1))^((k+1)/(2(k-1))): the choked
    ideal nozzle (any compressible-flow text) written in the form of ISO 6358.

    Parameters
    ----------
    area : float
        Area of the hole [m2].
    discharge : float
        Coefficient of discharge [-]; 0.65 for a sharp edge, 0.97 for a rounded one
        (compressed-air handbook table, see ``tests/reference``).

    Returns
    -------
    float
        Sonic conductance C [m3/(s Pa)].
    """
    k = HEAT_RATIO
    psi = math.sqrt(k) * math.pow(2.0 / (k + 1.0), (k + 1.0) / (2.0 * (k - 1.0)))
    root = math.sqrt(GAS_CONSTANT * REFERENCE_TEMPERATURE)
    return discharge * area * psi / (REFERENCE_DENSITY * root)
