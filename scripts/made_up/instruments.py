"""How good is a scanner? Noise, beam, reach, registration."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Instrument:
    """A scanner and how good it is.

    Attributes
    ----------
    range_sd, ppm : float   Range noise: sd = sqrt(range_sd^2 + (ppm 1e-6 range)^2). [m], [-]
    exit, divergence : float    Diameter of the beam at the scanner [m] and its full opening [rad].
    resolve : float         Surfaces nearer than this along one beam merge into one range. [m]
    least : float           Weakest share of the beam that still gives a return.
    returns : int           Most returns per beam.
    reach : float           Longest range. [m]
    registration : float    Sd per axis of a position's shift, and of its turn seen 15 m away. [m]
    drift : float           Sd of a moving scanner's slow position error. [m]
    """

    range_sd: float = 0.003
    ppm: float = 20.0
    exit: float = 0.005
    divergence: float = 0.0003
    resolve: float = 0.15
    least: float = 0.14
    returns: int = 1
    reach: float = 80.0
    registration: float = 0.003
    drift: float = 0.0


TRIPOD = Instrument()
PERFECT = Instrument(range_sd=0.0, ppm=0.0, exit=0.0, divergence=0.0, registration=0.0)
WALKED = Instrument(range_sd=0.02, ppm=0.0, exit=0.008, divergence=0.003, registration=0.004, drift=0.012, reach=40.0)
DRONE = Instrument(range_sd=0.015, ppm=0.0, exit=0.01, divergence=0.0005, resolve=0.4, returns=3, registration=0.015, reach=150.0, least=0.1)
