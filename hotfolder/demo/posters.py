"""Posters of invented clients, drawn by code: a jazz night, a play, an observatory, a bakery, a bicycle ride."""

from __future__ import annotations

import itertools
import math
import random

from hotfolder.demo.canvas import Canvas, Colour


def jazz_night(canvas: Canvas) -> None:
    """Quay Market: a record and its grooves over a night-blue ground. In CMYK."""
    night, gold, coral, cream = (1, 0.78, 0.2, 0.35), (0, 0.28, 0.9, 0), (0, 0.72, 0.62, 0), (0.02, 0.03, 0.12, 0)
    w, h = canvas.width, canvas.height
    canvas.fill(night)
    x, y, reach = w * 0.64, h * 0.47, w * 0.78
    for step in range(14):
        share = 1 - step / 14
        tint: Colour = (0.95 * share, 0.55 + 0.15 * (1 - share), 0.3 * (1 - share), 0.15 * share)
        canvas.disc(x, y, reach * share, tint if step % 2 else (1, 0.85, 0.3, 0.45))
    for step in range(9):
        canvas.ring(x, y, reach * (0.34 + 0.07 * step), w * 0.0035, gold)
    canvas.disc(x, y, reach * 0.24, coral)
    canvas.disc(x, y, reach * 0.17, gold)
    canvas.disc(x, y, reach * 0.025, night)
    canvas.shape([(w * 0.93, h * 0.83), (w * 0.96, h * 0.82), (w * 0.74, h * 0.55), (w * 0.72, h * 0.56)], cream)
    canvas.fitted("JAZZ", w * 0.075, h * 0.815, w * 0.55, cream)
    canvas.fitted("NIGHT", w * 0.075, h * 0.7, w * 0.55, gold)
    _lines(canvas, ["Quay Market Hall", "Saturday 14 March", "Doors 7 pm · Music from 8"], h * 0.115, cream)


def paper_moon(canvas: Canvas) -> None:
    """Lantern Theatre: a moon between curtains. In RGB, as a screen designer would send it."""
    w, h = canvas.width, canvas.height
    canvas.fill((0.10, 0.09, 0.24))
    for step in range(24):
        share = step / 23
        glow = (0.16 + 0.75 * share, 0.13 + 0.62 * share, 0.35 + 0.22 * share)
        canvas.disc(w * 0.5, h * 0.58, w * (0.47 - 0.2 * share), glow)
    canvas.disc(w * 0.5, h * 0.58, w * 0.26, (0.99, 0.93, 0.72))
    canvas.disc(w * 0.59, h * 0.62, w * 0.22, (0.91, 0.77, 0.58))
    stripe = w * 0.045
    for number in range(6):
        red = (0.62 + 0.05 * (number % 2), 0.07 + 0.03 * (number % 2), 0.14)
        left = -canvas.bleed + number * stripe
        sag = h * (0.02 + 0.055 * number)
        top = h + canvas.bleed
        canvas.shape([(left, top), (left + stripe, top), (left + stripe, sag), (left, sag - h * 0.02)], red)
        right = w + canvas.bleed - number * stripe
        canvas.shape([(right, top), (right - stripe, top), (right - stripe, sag), (right, sag - h * 0.02)], red)
    canvas.box(-canvas.bleed, -canvas.bleed, w + 2 * canvas.bleed, h * 0.2 + canvas.bleed, (0.07, 0.05, 0.12))
    canvas.fitted("THE PAPER MOON", w * 0.08, h * 0.215, w * 0.84, (1, 1, 1))
    _lines(canvas, ["A play in two acts", "Lantern Theatre · 3 to 28 February"], h * 0.08, (0.95, 0.86, 0.6))


def open_night(canvas: Canvas) -> None:
    """Northfield Observatory: stars, a ringed planet, a hill with a dome. In RGB, made for a picture."""
    w, h = canvas.width, canvas.height
    for step in range(60):
        share = step / 59
        tint = (0.02 + 0.30 * share**2, 0.04 + 0.16 * share, 0.14 + 0.26 * share)
        top = h + canvas.bleed - (h + 2 * canvas.bleed) * step / 60
        canvas.box(-canvas.bleed, -canvas.bleed, w + 2 * canvas.bleed, top + canvas.bleed, tint)
    dice = random.Random(1811)
    for _ in range(420):
        bright = dice.random() ** 2
        x, y = dice.uniform(-canvas.bleed, w + canvas.bleed), dice.uniform(h * 0.25, h + canvas.bleed)
        canvas.disc(x, y, w * (0.0007 + 0.0022 * bright), (0.7 + 0.3 * bright, 0.75 + 0.25 * bright, 1))
    canvas.disc(w * 0.66, h * 0.56, w * 0.17, (0.93, 0.62, 0.35))
    for step in range(-3, 4):
        chord = w * math.sqrt(0.165**2 - (0.04 * step) ** 2)
        y = h * 0.56 + w * 0.04 * step
        canvas.line((w * 0.66 - chord, y), (w * 0.66 + chord, y), w * 0.009, (0.86, 0.56 + 0.03 * step, 0.3))
    for step in range(4):
        ring = [
            (
                w * (0.66 + (0.27 + 0.018 * step) * math.cos(a)),
                h * (0.56 + (0.035 + 0.004 * step) * math.sin(a) + 0.09 * math.cos(a)),
            )
            for a in (math.tau * number / 90 for number in range(90))
        ]
        for near, far in itertools.pairwise(ring[30:81]):
            canvas.line(near, far, h * 0.003, (0.97, 0.86, 0.66))
    canvas.wave(h * 0.2, h * 0.03, 0.8, 0.4, (0.05, 0.06, 0.12))
    canvas.disc(w * 0.26, h * 0.235, w * 0.09, (0.82, 0.84, 0.88))
    canvas.box(w * 0.17, h * 0.165, w * 0.18, h * 0.07, (0.72, 0.74, 0.8))
    canvas.box(w * 0.25, h * 0.255, w * 0.02, h * 0.055, (0.05, 0.06, 0.12))
    canvas.fitted("OPEN NIGHT", w * 0.08, h * 0.85, w * 0.84, (1, 1, 1))
    _lines(canvas, ["Northfield Observatory", "Friday 9 October, from dusk"], h * 0.075, (0.85, 0.9, 1))


def harvest_loaf(canvas: Canvas) -> None:
    """Mill Street Bakery: ears of wheat over a round loaf. In CMYK."""
    flour, crust, deep, leaf = (
        (0.02, 0.06, 0.16, 0),
        (0.08, 0.48, 0.8, 0.06),
        (0.2, 0.7, 0.9, 0.35),
        (0.45, 0.3, 0.9, 0.1),
    )
    w, h = canvas.width, canvas.height
    canvas.fill(flour)
    for number in range(11):
        _ear(canvas, w * (0.02 + 0.096 * number), h * 0.47, h * (0.17 + 0.03 * (number % 3)), leaf, crust)
    canvas.wave(h * 0.42, h * 0.012, 1.4, 0.9, deep)
    canvas.disc(w * 0.5, h * 0.4, w * 0.27, crust)
    canvas.disc(w * 0.5, h * 0.408, w * 0.235, (0.05, 0.38, 0.72, 0))
    for number in range(-2, 3):
        x = w * (0.51 + 0.075 * number)
        canvas.line((x + w * 0.03, h * 0.48), (x - w * 0.03, h * 0.34), w * 0.022, flour)
    canvas.fitted("HARVEST", w * 0.08, h * 0.86, w * 0.84, deep)
    canvas.fitted("LOAF", w * 0.26, h * 0.74, w * 0.48, crust)
    _lines(canvas, ["Mill Street Bakery", "All September, from six in the morning"], h * 0.075, flour)


def river_ride(canvas: Canvas) -> None:
    """Tidewater Cycling Club: wheels over water. In RGB."""
    w, h = canvas.width, canvas.height
    canvas.fill((0.98, 0.84, 0.55))
    canvas.disc(w * 0.5, h * 0.6, w * 0.3, (0.96, 0.52, 0.28))
    for number, tint in enumerate([(0.35, 0.66, 0.68), (0.2, 0.52, 0.6), (0.1, 0.36, 0.48), (0.06, 0.24, 0.36)]):
        canvas.wave(h * (0.4 - 0.075 * number), h * 0.015, 2.5 + 0.4 * number, number * 1.3, tint)
    for x in (0.28, 0.72):
        canvas.ring(w * x, h * 0.43, w * 0.17, w * 0.014, (0.12, 0.13, 0.2))
        canvas.disc(w * x, h * 0.43, w * 0.015, (0.12, 0.13, 0.2))
        for spoke in range(12):
            a = spoke / 12 * math.tau
            tip = (w * x + w * 0.165 * math.cos(a), h * 0.43 + w * 0.165 * math.sin(a))
            canvas.line((w * x, h * 0.43), tip, w * 0.002, (0.12, 0.13, 0.2))
    canvas.fitted("RIVER RIDE", w * 0.08, h * 0.84, w * 0.84, (0.12, 0.13, 0.2))
    _lines(canvas, ["Tidewater Cycling Club", "Sunday 24 May · 60 km along the water"], h * 0.08, (1, 1, 1))


def _ear(canvas: Canvas, x: float, bottom: float, height: float, stem: Colour, grain: Colour) -> None:
    canvas.box(x - height * 0.006, bottom - height * 0.3, height * 0.012, height * 1.1, stem)
    for step in range(9):
        y = bottom + height * (0.25 + 0.085 * step)
        for side in (-1, 1):
            tip = (x + side * height * 0.07, y + height * 0.08)
            canvas.shape([(x, y), (x + side * height * 0.055, y + height * 0.015), tip, (x, y + height * 0.055)], grain)


def _lines(canvas: Canvas, lines: list[str], bottom: float, colour: Colour) -> None:
    size = canvas.width * 0.04
    for number, line in enumerate(reversed(lines)):
        canvas.live(line, canvas.width * 0.08, bottom + number * size * 1.45, size, colour)
