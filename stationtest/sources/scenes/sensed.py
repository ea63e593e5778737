"""The counts of one sensor, cell by cell of the grid of 65,536 rows: any cell can be made alone, with the same bytes.

A reading's time is the end of its exposure. What a presentation gives when the spot is all on it is worked out once for each,
over arrays of presentations; over rows there is only the share of the spot on it, and what varies along a target: ribs, round
tops across the travel, texture. All of it is elementwise, so that a value does not depend on where a cell begins or ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stationtest.model.scene import Scene
from stationtest.optics import detector as detectors
from stationtest.optics import geometry
from stationtest.optics.geometry import Factors
from stationtest.optics.noise import normals_at
from stationtest.optics.spectra import Floats
from stationtest.optics.spot import covered_while_moving, texture
from stationtest.signals.batch import GRID
from stationtest.sources.scenes.optical import Optics, Seen
from stationtest.sources.scenes.timeline import Timeline

Ints = NDArray[np.int64]

BEFORE = 1
"""Cells of noise before the first row: a moving mean begins on readings that were made before it."""


@dataclass(frozen=True, slots=True)
class _Lies:
    """How each presentation lies: slopes, height over the standoff, lateral offset, and the gloss of its specimen, (K,)."""

    slope_x: Floats
    slope_y: Floats
    nearer: Floats
    sideways: Floats
    gloss: Floats


class Sensed:
    """One sensor over one timeline."""

    def __init__(self, scene: Scene, optics: Optics, line: Timeline) -> None:
        self.scene, self.optics, self.line = scene, optics, line
        self.given, self.head = optics.sensor, optics.head
        self.stream = "sensor 0"  # a number and no name: renaming a sensor changes no reading
        self.seen = [optics.surfaces[target.surface] for target in scene.targets]
        self.background = optics.surfaces[scene.background]
        self.texture_of = [scene.surface(target.surface).texture for target in scene.targets]
        self.background_texture = scene.surface(scene.background).texture
        self.lies = self._lie()
        self.matt = self._matt_sums()
        self.whole, self.share = self._whole()
        self.travel_mm = scene.belt.speed_mm_s * self.given.exposure_ns * 1e-9
        self.bare = _flat(self.background, geometry.factors(self.head, self.background.surface))
        self.ambient = self._ambient_sums()
        self._noisy: tuple[int, list[Floats]] | None = None

    # once: presentations -----------------------------------------------------------------------------------------------------

    def _drawn(self, stream: str, count: int) -> Floats:
        return normals_at(self.scene.seed, stream, 0, count)

    def _lie(self) -> _Lies:
        line, scene, jitter = self.line, self.scene, self.scene.belt.jitter
        count = len(line.target)
        targets = scene.targets

        def each(values: list[float], sd: float, stream: str) -> Floats:
            return np.asarray(np.array(values)[line.target] + sd * self._drawn(stream, count))

        gloss = np.ones(count)
        for number, target in enumerate(targets):
            if target.spread.gloss:
                of_part = np.exp(target.spread.gloss * self._drawn(f"target {number}/gloss", len(target.specimens)))
                mine = line.target == number
                gloss[mine] = of_part[line.specimen[mine]]
        return _Lies(
            geometry.slope(each([one.tilt_along_deg for one in targets], jitter.tilt_deg, "tilt along")),
            geometry.slope(each([one.tilt_across_deg for one in targets], jitter.tilt_deg, "tilt across")),
            each([one.raised_mm for one in targets], jitter.height_mm, "height"),
            each([one.sideways_mm for one in targets], jitter.sideways_mm, "sideways"),
            gloss,
        )

    def _matt_sums(self) -> list[Floats]:
        """Band sums of the matt part, one (K,) a band, the colour of each specimen in them; never below 0."""
        line = self.line
        sums = np.stack([seen.sums.matt for seen in self.seen], axis=1)[:, line.target]
        for number, target in enumerate(self.scene.targets):
            directions = self.seen[number].directions
            spread = target.spread
            if directions is None or not (spread.L or spread.a or spread.b):
                continue
            mine = line.target == number
            for axis, (sd, name) in enumerate(((spread.L, "L"), (spread.a, "a"), (spread.b, "b"))):
                each = sd * self._drawn(f"target {number}/{name}", len(target.specimens))
                sums[:, mine] += directions[axis][:, None] * each[line.specimen[mine]]
        return list(np.maximum(sums, 0.0))

    def _whole(self) -> tuple[list[Floats], Floats]:
        """What each presentation gives where it fills the spot, one (K,) a band, and the share of the spot that it then fills."""
        line, lies = self.line, self.lies
        levels = [np.zeros(len(line.target)) for _ in self.matt]
        share = np.ones(len(line.target))
        for number, target in enumerate(self.scene.targets):
            mine = np.flatnonzero(line.target == number)
            seen, round_ = self.seen[number], target.cylinder
            if round_ is not None and round_.along and len(mine):
                found = geometry.over(
                    self.head, seen.surface, geometry.Cylinder(radius_mm=round_.radius_mm), lies.sideways[mine], along=True,
                    slope_x=lies.slope_x[mine], slope_y=lies.slope_y[mine], nearer_mm=lies.nearer[mine],
                )  # fmt: skip
                share[mine] = found.cover
                some = np.maximum(found.cover, 1e-12)
                found = Factors(found.matt / some, found.gloss / some, found.mirror / some, found.cover)
            else:
                found = geometry.factors(
                    self.head, seen.surface, slope_x=lies.slope_x[mine], slope_y=lies.slope_y[mine], nearer_mm=lies.nearer[mine]
                )
            for band, level in enumerate(levels):
                level[mine] = self._levels(band, seen, mine, found)
        return levels, share

    def _levels(self, band: int, seen: Seen, which: Ints, found: Factors) -> Floats:
        """Levels of one band of presentations `which`, whose surface is `seen`, by their factors."""
        gloss = self.lies.gloss[which]
        return np.asarray(
            self.matt[band][which] * found.matt
            + seen.sums.gloss[band] * gloss * found.gloss
            + seen.sums.mirror[band] * gloss * found.mirror
        )

    def _ambient_sums(self) -> tuple[list[Floats], Floats] | None:
        """Under ambient light: band sums of each target (T,), one a band, and of the background (B,)."""
        if self.given.ambient is None or self.background.ambient is None:
            return None
        each = np.stack([seen.ambient for seen in self.seen if seen.ambient is not None], axis=1)
        return list(each), self.background.ambient

    # every cell --------------------------------------------------------------------------------------------------------------

    def counts(self, cell: int) -> list[Floats]:
        """Counts of the rows of a cell, one (n,) a band."""
        noisy = self._cell(cell)
        window = self.given.averages
        if window > 1:
            # the rows that a mean reaches back to; a window is never longer than a cell
            before = self._cell(cell - 1)
            noisy = [
                detectors.moving_mean(np.concatenate([early[len(early) - window + 1 :], late]), window)
                for early, late in zip(before, noisy, strict=True)
            ]
        return [detectors.converted(level, self.optics.detector, band) for band, level in enumerate(noisy)]

    def _cell(self, cell: int) -> list[Floats]:
        """Levels with noise of the rows of a cell, before averaging and converting. Cell -1 lies before the first row."""
        if self._noisy is not None and self._noisy[0] == cell:
            return self._noisy[1]
        first = cell * GRID
        last = min(first + GRID, self.line.rows) if cell >= 0 else 0
        levels = self.levels(first, last)
        noisy = [
            detectors.noisy(level, self.optics.detector, band, seed=self.scene.seed, stream=self.stream, cell=cell + BEFORE)
            for band, level in enumerate(levels)
        ]
        if self.given.averages > 1:
            self._noisy = cell, noisy
        return noisy

    def levels(self, first: int, last: int) -> list[Floats]:
        """Levels without noise of rows [first, last), one (n,) a band."""
        line, spot = self.line, self.head.spot_mm
        t_ns = np.arange(first, last, dtype=np.int64) * self.scene.every_ns
        place: Floats = np.asarray(t_ns * (self.scene.belt.speed_mm_s * 1e-9))
        bare = 1.0 + (self._texture_of_background(place) if self.background_texture else 0.0)
        levels = [np.full(len(place), level) * bare for level in self.bare]
        flicker = self._flicker(t_ns)
        if flicker is not None and self.ambient is not None:
            for band, level in enumerate(levels):
                level += self.ambient[1][band] * flicker
        low = np.searchsorted(line.end_mm + (spot / 2.0 + self.travel_mm), place, "right")
        high = np.searchsorted(line.begin_mm - spot / 2.0, place, "left")
        for layer in range(int((high - low).max(initial=0))):
            rows = np.flatnonzero(low + layer < high)
            self._add(rows, low[rows] + layer, place[rows], levels, bare, None if flicker is None else flicker[rows])
        return levels

    def _add(
        self, rows: Ints, which: Ints, place: Floats, levels: list[Floats], bare: Floats | float, flicker: Floats | None
    ) -> None:
        """Put presentation `which` (n,) under the spot at `rows`, in place of the background that it hides."""
        line, spot = self.line, self.head.spot_mm
        covers = covered_while_moving(place - line.begin_mm[which], spot, self.travel_mm)
        covers = covers - covered_while_moving(place - line.end_mm[which], spot, self.travel_mm)
        share = covers * self.share[which]
        own = [whole[which] for whole in self.whole]
        along = place - self.travel_mm / 2.0 - line.begin_mm[which]
        self._shapes(which, along, own, share)
        self._textures(which, along, own)
        hidden = bare[rows] if isinstance(bare, np.ndarray) else bare
        target = line.target[which]
        for band, level in enumerate(levels):
            change = share * (own[band] - self.bare[band] * hidden)
            if flicker is not None and self.ambient is not None:
                change += share * (self.ambient[0][band][target] - self.ambient[1][band]) * flicker
            level[rows] += change

    def _shapes(self, which: Ints, along: Floats, own: list[Floats], share: Floats) -> None:
        """Ribs and round tops across the travel: where the spot is on one, `own` and `share` are made again over its normals."""
        target = self.line.target[which]
        for number, one in enumerate(self.scene.targets):
            shape: geometry.Cylinder | geometry.Rib
            if one.rib is not None:
                shape = geometry.Rib(
                    width_mm=one.rib.width_mm, height_mm=one.rib.height_mm, flank_deg=one.rib.flank_deg, lean_deg=one.rib.lean_deg
                )
                centre = one.rib.at_mm - along  # along the travel, in which the leading edge is in front
                near = np.abs(centre) < (one.rib.width_mm + self.head.spot_mm) / 2.0
            elif one.cylinder is not None and not one.cylinder.along:
                shape = geometry.Cylinder(radius_mm=one.cylinder.radius_mm)
                centre = one.length_mm / 2.0 - along
                near = np.ones(len(along), bool)
            else:
                continue
            rows = np.flatnonzero((target == number) & near)
            if not len(rows):
                continue
            mine, lies, seen = which[rows], self.lies, self.seen[number]
            found = geometry.over(
                self.head, seen.surface, shape, centre[rows], slope_x=lies.slope_x[mine], slope_y=lies.slope_y[mine],
                nearer_mm=lies.nearer[mine],
            )  # fmt: skip
            if one.rib is None:  # the share of the spot on it is that over its outline
                share[rows] = found.cover
                some = np.maximum(found.cover, 1e-12)
                found = Factors(found.matt / some, found.gloss / some, found.mirror / some, found.cover)
            for band, level in enumerate(own):
                level[rows] = self._levels(band, seen, mine, found)

    def _textures(self, which: Ints, along: Floats, own: list[Floats]) -> None:
        """Each specimen has its own stretch of the texture of its surface, the same whenever it comes."""
        if not any(self.texture_of):
            return
        spot = self.head.spot_mm
        heads = np.flatnonzero(np.append(True, which[1:] != which[:-1])) if len(which) else np.empty(0, np.int64)
        for begin, end in zip(heads.tolist(), [*heads[1:].tolist(), len(which)], strict=True):
            number = int(self.line.target[which[begin]])
            made = self.texture_of[number]
            if made is None:
                continue
            room = self.scene.targets[number].length_mm + 4.0 * (spot + made.patch_mm) + self.travel_mm
            base = int(self.line.specimen[which[begin]]) * room + spot + self.travel_mm
            found = 1.0 + made.amount * texture(
                self.scene.seed, f"target {number}/texture", along[begin:end] + base, made.patch_mm, spot
            )
            for level in own:
                level[begin:end] *= np.maximum(found, 0.0)

    def _texture_of_background(self, place: Floats) -> Floats:
        made = self.background_texture
        assert made is not None
        early = self.scene.belt.speed_mm_s * 1e-9 * self.scene.every_ns * GRID  # a cell before the first row
        return made.amount * texture(self.scene.seed, "background/texture", place + early, made.patch_mm, self.head.spot_mm)

    def _flicker(self, t_ns: Ints) -> Floats | None:
        ambient = self.given.ambient
        if ambient is None:
            return None
        return detectors.ambient(
            t_ns, frequency_hz=ambient.flicker_hz, depth=ambient.depth, rejection=ambient.rejection,
            exposure_ns=self.given.exposure_ns,
        )  # fmt: skip


def _flat(seen: Seen, found: Factors) -> Floats:
    """Levels (B,) of a flat surface that fills the spot."""
    sums = seen.sums
    return np.asarray(sums.matt * found.matt + sums.gloss * found.gloss + sums.mirror * found.mirror)

