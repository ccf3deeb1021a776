"""Plant many runs and print how well laps and corners are found: `make laps`."""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict

import numpy as np

from babbitt.laps.find import find_layout
from babbitt.laps.motion import motion_of
from lap_truth import score
from planted_circuits import CIRCUITS, CLIMB, Logged, drive

WAYS = {
    "lateral g": ("lateral_g",),
    "lateral g and speed": ("lateral_g", "speed"),
    "position": ("latitude", "longitude"),
    "position, speed, lateral g": ("latitude", "longitude", "speed", "lateral_g"),
    "lap number": ("lap_number", "lateral_g"),
    "lap distance": ("distance", "lateral_g"),
}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=8)
    parser.add_argument("--verbose", action="store_true")
    given = parser.parse_args()
    sums = defaultdict(list)
    for seed in range(given.seeds):
        for circuit in CIRCUITS:
            for way, channels in WAYS.items():
                if circuit.name == "oval" and way == "lateral g":
                    continue  # its halves are alike: nothing in the log tells half a lap from one
                random = np.random.default_rng([seed, hash_of(circuit.name), hash_of(way)])
                how = Logged(
                    hz=float(random.choice([10.0, 20.0, 50.0, 100.0])),
                    channels=channels,
                    sign=float(random.choice([-1.0, 1.0])),
                    clock=float(1.0 + random.normal(0, 5e-4)),
                    gps_gaps=int(random.integers(0, 4)),
                    noise_g=float(random.uniform(0.01, 0.06)),
                    pit_stop=bool(random.random() < 0.2),
                )
                planted = drive(circuit, int(random.integers(4, 14)), how, random)
                found = score(planted, random)
                sums[way].append((circuit.name, found))
                worst = max(map(abs, found.errors_s), default=0.0)
                poor = found.wrong or worst > 0.2 or found.right < 0.95 * found.events
                if given.verbose and poor:
                    told = f"{found.wrong} of {found.laps} laps wrong, worst {worst:.2f} s"
                    told += f", {found.right} of {found.events} events right"
                    sys.stdout.write(f"{seed} {circuit.name}, {way}, {how}: {told}\n")
    for way, rows in sums.items():
        laps = sum(each.laps for _, each in rows)
        errors = np.abs(np.concatenate([each.errors_s for _, each in rows]))
        events = sum(each.events for _, each in rows)
        near = 0.5 if way == "lateral g" else 0.2
        wrong = sum(each.wrong for _, each in rows)
        right = sum(each.right for _, each in rows)
        sys.stdout.write(
            f"{way}: {len(rows)} runs, {laps} laps, {wrong / laps:.2%} wrong; "
            f"{np.mean(errors <= near):.2%} of lap times within {near} s, 95 % within "
            f"{np.percentile(errors, 95):.2f} s; {right / events:.2%} of {events} events in the "
            "right corner\n"
        )
    forced = total = 0
    for seed in range(given.seeds):
        for way, channels in list(WAYS.items())[:4]:
            random = np.random.default_rng([seed, 99, hash_of(way)])
            planted = drive(CLIMB, 1, Logged(channels=channels), random)
            total += 1
            forced += find_layout(motion_of([planted.run])) is not None
    sys.stdout.write(f"hill climbs forced into laps: {forced} of {total}\n")


def hash_of(text: str) -> int:
    return sum(text.encode())


if __name__ == "__main__":
    main()
