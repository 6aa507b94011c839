"""Moving pictures of a bench with hands that come, work and go, made here with a known truth. Invented.

`stream(seed)` gives (picture, time, hand pixels in it, event number) one after the other. A hand is a forearm with
fingers that comes in from the border; skin, sleeve and glove colours go from black to white. While it is in, it may
change the scene (a part goes), nudge the device, or hold still.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from benchguide.camera.opencv import cv2

FPS = 15
#: BGR of sleeves, gloves and skin
COLOURS = (
    (25, 25, 25),
    (235, 235, 235),
    (60, 90, 150),
    (110, 140, 200),
    (160, 190, 230),
    (150, 70, 30),
    (40, 60, 40),
)


@dataclass(frozen=True)
class Shot:
    """One picture of a stream. visit: which visit this is or follows, 0 before the first."""

    image: np.ndarray
    at_s: float
    hand: int
    visit: int


def stream(seed: int, visits: int = 3, size: tuple[int, int] = (640, 360)) -> Iterator[Shot]:
    """Pictures at 15 a second, BGR uint8, with sensor noise and a lamp that breathes a little."""
    rng = np.random.default_rng(seed)
    bench = _Bench(rng, size)
    number = 0

    def shot(visit: int, hand: np.ndarray | None) -> Shot:
        nonlocal number
        number += 1
        image, pixels = bench.picture(hand)
        return Shot(image, number / FPS, pixels, visit)

    for _ in range(20):
        yield shot(0, None)
    for visit in range(1, visits + 1):
        for hand in bench.visit():
            yield shot(visit, hand)
        for _ in range(FPS * 3):
            yield shot(visit, None)


class _Bench:
    """The scene: a mat, a device with parts, and what hands do to it."""

    def __init__(self, rng: np.random.Generator, size: tuple[int, int]) -> None:
        self.rng, (self.w, self.h) = rng, size
        self.scale = self.w / 640
        cv = cv2()
        base = rng.integers(60, 190, 3)
        grain = cv.GaussianBlur(
            rng.normal(0, 1, (self.h, self.w, 1)).astype(np.float32), (0, 0), 1.5 * self.scale
        )
        self.mat = np.clip(base + 14 * grain[..., None], 0, 255).astype(np.float32)
        self.device_colour = rng.integers(30, 220, 3).astype(float)
        self.parts = [self._part() for _ in range(14)]
        self.shift, self.turn = np.zeros(2), 0.0
        self.light = 1.0
        self.time = 0

    def _part(self) -> dict[str, object]:
        rng = self.rng
        return {
            "at": rng.uniform([0.27, 0.2], [0.73, 0.8]) * [self.w, self.h],
            "size": rng.uniform(8, 55, 2) * self.scale,
            "colour": rng.integers(10, 245, 3).astype(float),
            "angle": rng.uniform(0, 180),
            "on": True,
        }

    def scene(self) -> np.ndarray:
        cv = cv2()
        image = self.mat.copy()
        centre = np.array([self.w / 2, self.h / 2]) + self.shift
        device = cv.boxPoints((tuple(centre), (self.w * 0.55, self.h * 0.75), self.turn))
        cv.fillPoly(image, [device.round().astype(int)], self.device_colour.tolist(), cv.LINE_AA)
        turn = np.deg2rad(self.turn)
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        for part in self.parts:
            if part["on"]:
                at = centre + spin @ (part["at"] - np.array([self.w / 2, self.h / 2]))  # type: ignore[operator]
                box = cv.boxPoints((tuple(at), tuple(part["size"]), float(part["angle"]) + self.turn))  # type: ignore[arg-type]
                cv.fillPoly(image, [box.round().astype(int)], part["colour"].tolist(), cv.LINE_AA)  # type: ignore[attr-defined]
        return image

    def picture(self, hand: np.ndarray | None) -> tuple[np.ndarray, int]:
        cv = cv2()
        self.time += 1
        image, pixels = self.scene(), 0
        if hand is not None:
            mask = np.zeros((self.h, self.w), np.uint8)
            for shape in self._hand_shapes(hand):
                cv.fillPoly(mask, [shape.round().astype(int)], 255, cv.LINE_AA)
            pixels = int((mask > 127).sum())
            soft = np.roll(cv.GaussianBlur(mask, (0, 0), 7 * self.scale), (6, 8), (0, 1))[..., None] / 255
            image *= 1 - 0.35 * soft
            shade = 1 + 0.12 * self.hand_grain
            alpha = mask[..., None] / 255
            image = image * (1 - alpha) + alpha * np.array(self.hand_colour) * shade[..., None]
        flicker = self.light * (1 + 0.006 * np.sin(self.time * 0.9))
        image = image * flicker + self.rng.normal(0, 2.2, (self.h, self.w, 1))
        return np.clip(image, 0, 255).astype(np.uint8), pixels

    def _hand_shapes(self, hand: np.ndarray) -> list[np.ndarray]:
        """Forearm, palm and fingers from the border point (first row) to the finger tips (second row)."""
        start, tip = hand[:2], hand[2:]
        way = tip - start
        length = float(np.hypot(*way)) or 1.0
        along, side = way / length, np.array([-way[1], way[0]]) / length
        broad = 30 * self.scale * self.hand_size
        shapes = [
            np.array([start - side * broad, start + side * broad, tip + side * broad, tip - side * broad])
        ]
        for finger in (-0.75, -0.25, 0.25, 0.75):
            root = tip + side * broad * finger
            end = root + along * (34 + 10 * abs(finger)) * self.scale + side * finger * 8 * self.scale
            half = side * 7 * self.scale
            shapes.append(np.array([root - half, root + half, end + half * 0.7, end - half * 0.7]))
        return shapes

    def visit(self) -> Iterator[np.ndarray]:
        """Where the hand is, picture by picture: in, at work (or held still), out."""
        rng = self.rng
        self.hand_colour = COLOURS[rng.integers(len(COLOURS))]
        self.hand_size = rng.uniform(0.7, 1.3)
        self.hand_grain = cv2().GaussianBlur(
            rng.normal(0, 3, (self.h, self.w)).astype(np.float32), (0, 0), 4 * self.scale
        )
        side = rng.integers(4)
        along = rng.uniform(0.15, 0.85)
        start = {
            0: np.array([along * self.w, self.h + 40]),
            1: np.array([-40, along * self.h]),
            2: np.array([self.w + 40, along * self.h]),
            3: np.array([along * self.w, -40]),
        }[int(side)]
        target = rng.uniform([0.3, 0.25], [0.7, 0.75]) * [self.w, self.h]
        outside = start + (start - target) / np.hypot(*(start - target)) * 90 * self.scale
        frames = int(rng.integers(6, 14))
        yield from self._travel(outside, start, outside, target, frames)
        for _ in range(int(rng.integers(15, 45))):
            yield np.r_[start, target + rng.normal(0, 6 * self.scale, 2)]
        self._edit(target)
        if rng.random() < 0.35:
            still = target + rng.normal(0, 2, 2)
            for _ in range(int(rng.integers(15, 60))):
                yield np.r_[start, still]
        yield from self._travel(start, outside, target, outside, frames)

    def _travel(
        self, a: np.ndarray, b: np.ndarray, tip_a: np.ndarray, tip_b: np.ndarray, frames: int
    ) -> Iterator[np.ndarray]:
        for k in range(frames):
            part = (k + 1) / frames
            yield np.r_[a + (b - a) * part, tip_a + (tip_b - tip_a) * part]

    def _edit(self, target: np.ndarray) -> None:
        """A part comes off (or back), and sometimes the device is nudged or the light changes."""
        rng = self.rng
        part = self.parts[int(rng.integers(len(self.parts)))]
        part["on"] = not part["on"]
        if rng.random() < 0.25:
            self.shift = self.shift + rng.normal(0, 5 * self.scale, 2)
            self.turn += float(rng.normal(0, 1.0))
        if rng.random() < 0.2:
            self.light *= float(rng.uniform(0.93, 1.07))
