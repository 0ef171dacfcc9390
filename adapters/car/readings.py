"""What the unit believes, and what is true, by name."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bankwise.adapters.car.control import OPEN_COLD

if TYPE_CHECKING:
    from bankwise.adapters.car.model import Car

_OFFERED = (
    "abs_load_pct", "ambient_c", "cat_b1s1_c", "cat_b2s1_c", "fuel_level_pct",
    "lambda_cmd", "module_v", "oil_c", "pedal_pct", "purge_pct", "run_s",
    "throttle_cmd_pct", "throttle_rel_pct",
)  # fmt: skip


def believed(car: Car) -> dict[str, float]:
    """What the unit believes, by catalogue name, for what this car has."""
    spec = car.spec
    strategy = car.engine.strategy
    intake = car.engine.intake
    span = 88.0 - spec.closed_throttle_pct
    throttle = min(strategy.opening, 1.0) ** 0.6
    seen: dict[str, float] = {
        "rpm": car.vehicle.rpm,
        "speed_kmh": car.vehicle.kmh,
        "load_pct": 100.0 * car.engine.load if strategy.running else 0.0,
        "ect_c": car.engine.coolant.celsius,
        "iat_c": intake.iat_c,
        "throttle_pct": spec.closed_throttle_pct + span * throttle,
        "timing_deg": strategy.timing_deg,
        "baro_kpa": intake.baro_kpa,
    }
    if spec.mass_air:
        seen["maf_gps"] = max(intake.maf_gps, 0.0)
    else:
        seen["map_kpa"] = intake.map_read_kpa
    optional = _optional(car, throttle)
    for name in _OFFERED:
        if name in spec.shows and name in optional:
            seen[name] = optional[name]
    if "evidence" in spec.shows:
        seen.update(_evidence(car))
    for b, bank in enumerate(car.engine.banks):
        n = b + 1
        control = bank.control
        seen[f"stft_b{n}_pct"] = control.shown_pct
        seen[f"ltft_b{n}_pct"] = control.long_pct
        seen[f"fuel_status_b{n}"] = float(
            control.status if strategy.running else OPEN_COLD
        )
        wide = bank.front_wide
        if wide is None:
            seen[f"o2_b{n}s1_v"] = max(bank.front_switching.volts, 0.0)
            seen[f"o2_b{n}s1_trim_pct"] = control.shown_pct
        else:
            seen[f"lambda_b{n}s1"] = wide.lam
            if spec.wide_report == "volts":
                seen[f"o2_b{n}s1_wide_v"] = wide.volts
            else:
                seen[f"o2_b{n}s1_ma"] = wide.milliamps
        seen[f"o2_b{n}s2_v"] = max(bank.rear.volts, 0.0)
    return seen


def _optional(car: Car, throttle: float) -> dict[str, float]:
    strategy = car.engine.strategy
    spec = car.spec
    rpm = max(car.vehicle.rpm, 60.0)
    per_stroke = sum(car.engine.intake.believed_gps) * 120.0 / rpm / spec.displacement_l
    shown = {
        "abs_load_pct": per_stroke / 1.184 * 100.0 if strategy.running else 0.0,
        "ambient_c": spec.ambient_c,
        "fuel_level_pct": car.fuel_level_pct,
        "lambda_cmd": strategy.lambda_cmd,
        "module_v": car.module_v,
        "oil_c": car.engine.coolant.oil_c,
        "pedal_pct": 15.0 + 65.0 * car.driver.pedal,
        "purge_pct": 100.0 * strategy.purge,
        "run_s": strategy.run_s,
        "throttle_cmd_pct": 100.0 * throttle,
        "throttle_rel_pct": 100.0 * throttle,
    }
    for b, bank in enumerate(car.engine.banks):
        shown[f"cat_b{b + 1}s1_c"] = bank.catalyst.bed_c
    return shown


def _evidence(car: Car) -> dict[str, float]:
    memory = car.monitors
    return {
        "warmups": memory.warmups,
        "cleared_km": memory.cleared_km,
        "cleared_min": memory.cleared_s / 60.0,
        "lamp_km": memory.lamp_km,
        "lamp_min": memory.lamp_s / 60.0,
    }


def true_state(car: Car) -> dict[str, float]:
    """What is really so, by name; for tests."""
    state = {
        "map_kpa": car.engine.intake.map_kpa,
        "throttle_flow_gps": car.engine.intake.throttle_flow_gps,
        "leak_gps": car.engine.intake.leak_gps,
        "fuel_gps": car.engine.fuel_gps,
        "cut": float(car.engine.strategy.cut),
    }
    for b, bank in enumerate(car.engine.banks):
        n = b + 1
        phi = bank.fuel.phi
        state[f"lambda_b{n}"] = 1.0 / phi if phi > 0.05 else 20.0
        state[f"air_b{n}_gps"] = car.engine.intake.bank_gps[b]
        state[f"misfire_b{n}"] = bank.misfire
        state[f"misfires_b{n}"] = bank.misfires
        state[f"fill_b{n}"] = bank.catalyst.fill
        state[f"cat_b{n}_c"] = bank.catalyst.bed_c
        state[f"front_tip_b{n}_c"] = bank.front.tip.celsius
        state[f"rear_tip_b{n}_c"] = bank.rear.tip.celsius
        state[f"rear_shift_b{n}_pct"] = bank.control.rear_pct
    return state
