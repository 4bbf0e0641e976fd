"""A scribble that stands for a signature: strokes in a box of 600 × 200."""

import random
from math import sin

Stroke = list[list[float]]


def scribble(name: str) -> list[Stroke]:
    """One wavy stroke per part of the name, always the same for a name."""
    strokes = []
    parts = name.split()[:3]
    for index, part in enumerate(parts):
        chance = random.Random(part)
        left = 40 + index * 520 / len(parts)
        wide = 480 / len(parts)
        waves, lift = 2 + len(part) / 3, chance.uniform(22, 46)
        strokes.append(
            [
                [
                    round(left + wide * step / 18, 1),
                    round(110 - lift * sin(waves * step / 3) * (1.2 - step / 24) + chance.uniform(-6, 6), 1),
                ]
                for step in range(19)
            ]
        )
    return strokes
