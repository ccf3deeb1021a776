"""Deliberate faults: a piece of the program, and what stands in its place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """A fault to put in.

    Attributes:
        says: what is wrong then.
        file: in which it is.
        sound: the text that stands there once.
        faulty: what takes its place.
        tests: those beside it, asked where the published checks miss it.
    """

    says: str
    file: str
    sound: str
    faulty: str
    tests: tuple[str, ...]


DOSES = "pipeline/babbitt/detect/doses.py"
EXPOSURE = "pipeline/babbitt/totals/exposure.py"
FATIGUE = "pipeline/babbitt/totals/fatigue.py"
COOLANT = "pipeline/babbitt/totals/coolant.py"
PRIOR = "pipeline/babbitt/damage/prior.py"
CHANCE = "pipeline/babbitt/damage/chance.py"
MODEL = "pipeline/babbitt/damage/model.py"
DETECTION = ("tests/detect", "tests/jobs/test_orders_of_harm.py")
TOTALS = ("tests/totals",)
DAMAGE = ("tests/damage",)
CALLS = ("tests/outlook",)
READING = ("tests/ingest",)

FAULTS = (
    Fault(
        "an over-rev counts by the m-th power of speed, not of load",
        DOSES,
        "** (2.0 * limits.fatigue_exponent)",
        "** limits.fatigue_exponent",
        DETECTION,
    ),
    Fault(
        "nothing bends past the mechanical limit",
        DOSES,
        "weight * (1.0 + past**2)",
        "weight",
        DETECTION,
    ),
    Fault(
        "the missing share of pressure is dropped from the dose",
        DOSES,
        "* missing**2 / HALF_MISSING",
        "/ HALF_MISSING",
        DETECTION,
    ),
    Fault(
        "missing pressure grows no faster than linearly",
        DOSES,
        "missing**2",
        "missing",
        DETECTION,
    ),
    Fault(
        "turns without pressure count as minutes, not seconds",
        DOSES,
        "lost: FloatArray = speed_rpm / 60.0",
        "lost: FloatArray = speed_rpm",
        DETECTION,
    ),
    Fault(
        "the head in a pin by its diameter, not its radius",
        DOSES,
        "crankpin_mm / 2000.0",
        "crankpin_mm / 1000.0",
        DETECTION,
    ),
    Fault(
        "hot oil starves less than cold",
        DOSES,
        "oil.viscosity_100c_mm2_s / viscosity_mm2_s(known, oil)",
        "viscosity_mm2_s(known, oil) / oil.viscosity_100c_mm2_s",
        DETECTION,
    ),
    Fault(
        "thick oil does less harm under load than thin",
        DOSES,
        "viscosity_mm2_s(oil_c, oil) / viscosity_mm2_s(at, oil)",
        "viscosity_mm2_s(at, oil) / viscosity_mm2_s(oil_c, oil)",
        DETECTION,
    ),
    Fault(
        "viscosity without the 0.7 of ASTM D341",
        DOSES,
        "10.0 ** (10.0**at) - 0.7",
        "10.0 ** (10.0**at)",
        DETECTION,
    ),
    Fault(
        "viscosity by degrees Celsius above 0, not kelvin",
        DOSES,
        "_KELVIN = 273.15",
        "_KELVIN = 1.0",
        DETECTION,
    ),
    Fault("degrees do not double", DOSES, "np.exp2(doublings)", "(1.0 + doublings)", DETECTION),
    Fault(
        "left and right are swapped",
        "pipeline/babbitt/detect/conditions.py",
        "left.view(np.int8) - right.view(np.int8)",
        "right.view(np.int8) - left.view(np.int8)",
        DETECTION,
    ),
    Fault(
        "over-revs open below the redline",
        "pipeline/babbitt/detect/over_rev.py",
        "rpm.values - np.float32(limits.redline_rpm),",
        "np.float32(limits.redline_rpm) - rpm.values,",
        DETECTION,
    ),
    Fault(
        "temperatures are overheated below their limit",
        "pipeline/babbitt/detect/overheat.py",
        "excess = temperature.values - np.float32(limits.limit_c)",
        "excess = np.float32(limits.limit_c) - temperature.values",
        DETECTION,
    ),
    Fault(
        "boost is judged as if its limit were twice as high",
        "pipeline/babbitt/detect/overboost.py",
        "np.float32(spec.boost.limit_kpa)",
        "np.float32(2.0 * spec.boost.limit_kpa)",
        DETECTION,
    ),
    Fault(
        "expected oil pressure rises with temperature",
        "pipeline/babbitt/detect/surface.py",
        "sparse.vstack([by_rpm, -by_oil_c])",
        "sparse.vstack([by_rpm, by_oil_c])",
        DETECTION,
    ),
    Fault(
        "fatigue forgets the turns that an hour has",
        FATIGUE,
        "** (2.0 * exponent + 1.0)",
        "** (2.0 * exponent)",
        TOTALS,
    ),
    Fault(
        "fatigue by the m-th power of speed, not of load",
        FATIGUE,
        "** (2.0 * exponent + 1.0)",
        "** (exponent + 1.0)",
        TOTALS,
    ),
    Fault(
        "springs fatigue as rods do",
        FATIGUE,
        "SPRING_EXPONENT = 8.0",
        "SPRING_EXPONENT = 5.0",
        TOTALS,
    ),
    Fault(
        "two turns are counted for one",
        EXPOSURE,
        "(seconds * rpm).sum()) / 60.0",
        "(seconds * rpm).sum()) / 30.0",
        TOTALS,
    ),
    Fault(
        "the oil's angle in left corners is that in right ones",
        EXPOSURE,
        "self._left_g = _higher(self._left_g, lateral_g)",
        "self._left_g = _higher(self._left_g, -lateral_g)",
        TOTALS,
    ),
    Fault(
        "coolant near boiling seems far from it",
        EXPOSURE,
        "lambda c: boils_c - c",
        "lambda c: c - boils_c",
        TOTALS,
    ),
    Fault(
        "the pressure cap is taken as absolute",
        COOLANT,
        "pressure_kpa = cap_kpa + ambient_kpa",
        "pressure_kpa = cap_kpa",
        TOTALS,
    ),
    Fault(
        "half glycol counts by volume as if by mole",
        COOLANT,
        "glycol / (glycol + water)",
        "glycol_percent / 100.0",
        TOTALS,
    ),
    Fault(
        "piston acceleration at bottom, not top, dead centre",
        "pipeline/babbitt/totals/kinematics.py",
        "(1.0 + 1000.0 * radius_m / rod_length_mm)",
        "(1.0 - 1000.0 * radius_m / rod_length_mm)",
        TOTALS,
    ),
    Fault(
        "one stroke a revolution",
        "pipeline/babbitt/totals/kinematics.py",
        "return 2.0 * stroke_mm",
        "return stroke_mm",
        TOTALS,
    ),
    Fault(
        "the oil's angle is twice what it is",
        "pipeline/babbitt/totals/tilt.py",
        "math.atan(lateral_g)",
        "2.0 * math.atan(lateral_g)",
        TOTALS,
    ),
    Fault(
        "half a heat cycle counts as one",
        "pipeline/babbitt/totals/heat_cycles.py",
        "(span, float(count))",
        "(span, 1.0)",
        TOTALS,
    ),
    Fault(
        "the share of a life used is upside down",
        "pipeline/babbitt/totals/totals.py",
        "else dose / limit",
        "else limit / dose",
        TOTALS,
    ),
    Fault(
        "a psi is taken as 7 kPa",
        "schemas/units.toml",
        "psi = { factor = 6.894757293168361",
        "psi = { factor = 7.0",
        READING,
    ),
    Fault(
        "an inch of mercury is taken as 3.4 kPa",
        "schemas/units.toml",
        "inHg = { factor = 3.386388640341",
        "inHg = { factor = 3.4",
        READING,
    ),
    Fault(
        "a spike has the greater of its two heights",
        "pipeline/babbitt/ingest/quality/checks.py",
        "bad = np.minimum(np.abs(before), np.abs(after))",
        "bad = np.maximum(np.abs(before), np.abs(after))",
        READING,
    ),
    Fault(
        "nine in ten fail by the 10 % dose",
        PRIOR,
        "_B10_HAZARD = -math.log(0.9)",
        "_B10_HAZARD = -math.log(0.1)",
        DAMAGE,
    ),
    Fault(
        "the characteristic life is the 10 % dose itself",
        PRIOR,
        "log_eta = np.log(lives) - math.log(_B10_HAZARD) / STEEPNESS",
        "log_eta = np.log(lives)",
        DAMAGE,
    ),
    Fault(
        "the life that is told has the wrong sign of ln of -ln 0.9",
        "pipeline/babbitt/outlook/why.py",
        "log_eta[acts] + math.log(_B10_HAZARD)",
        "log_eta[acts] - math.log(_B10_HAZARD)",
        CALLS,
    ),
    Fault(
        "causes share by what they did not do",
        CHANCE,
        "hazard /= hazard.sum(axis=0)",
        "hazard = 1.0 / np.maximum(hazard, 1e-300)\n    hazard /= hazard.sum(axis=0)",
        DAMAGE,
    ),
    Fault(
        "the median life of builds counts those that go on as ended",
        "pipeline/babbitt/damage/fleet.py",
        "going *= 1.0 - 1.0 / at_risk if ended else 1.0",
        "going *= 1.0 - 1.0 / at_risk",
        DAMAGE,
    ),
    Fault(
        "draws are not weighed by how likely they made what was found",
        "pipeline/babbitt/damage/sampling.py",
        "Sample(points, weights / weights.sum(),",
        "Sample(points, np.full(len(points), 1.0 / len(points)),",
        DAMAGE,
    ),
    Fault(
        "what was found sound makes damage likelier",
        MODEL,
        "@ np.log(-np.expm1(-total[damaged]))\n    return found - records",
        "@ np.log(-np.expm1(-total[damaged]))\n    return found + records",
        DAMAGE,
    ),
    Fault(
        "a dose does harm from its full size, not from the last look on",
        MODEL,
        "        added[column.looked] -= np.exp(_log_hazard(log_eta, beta, column.log_before))\n",
        "",
        DAMAGE,
    ),
    Fault(
        "falling oil pressure is told as rising",
        "pipeline/babbitt/outlook/drift.py",
        "slope = float((weights * away * ratios).sum()) / square",
        "slope = -float((weights * away * ratios).sum()) / square",
        CALLS,
    ),
    Fault(
        "pull where the risk is below the accepted one",
        "pipeline/babbitt/outlook/call.py",
        "worst.next_logged.p > accepted",
        "worst.next_logged.p < accepted",
        CALLS,
    ),
    Fault(
        "the costs that say which risk to accept are swapped",
        "pipeline/babbitt/outlook/call.py",
        "return decision.cost_refresh / decision.cost_failure",
        "return decision.cost_failure / decision.cost_refresh",
        CALLS,
    ),
    Fault(
        "resolution of forecasts against a half, not the base rate",
        "pipeline/babbitt/damage/scores.py",
        '(groups["observed"] - overall) ** 2',
        '(groups["observed"] - 0.5) ** 2',
        DAMAGE,
    ),
)
