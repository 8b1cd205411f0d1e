"""The links that close a loop of a train diagram, threaded through what stands there already."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from handlead.kinematics.links.link import Link
from handlead.viz.look import look

from .train_picture import TrainPicture, height_of, lines_of_text
from .train_shapes import AIR, HALF, NAME, Box, PartLine, Upright, boxes_meet, segments_of
from .train_tree import TreeAxis, TreeEdge
from .train_words import LinkWords


@dataclass
class Router:
    """Threads the links that close loops through a picture that is otherwise complete."""

    picture: TrainPicture
    links: Mapping[str, LinkWords]
    axis: Mapping[str, TreeAxis]
    hits: int = 0

    def route(self, edge: TreeEdge) -> None:
        """Add `edge` where it strikes the least; what it strikes is counted in `hits`."""
        best = min(self._ways(edge), key=lambda way: way[0])
        cost, upright, stretches = best
        self.hits += int(cost // 1000)
        for part, x in stretches.items():
            self._stretch(part, x)
        self.picture.uprights.append(upright)
        if not edge.carrier:
            self._label(edge.link, upright)
        for box in segments_of(upright):
            self.picture.solid.append((box[0] - 1, box[1], box[2] + 1, box[3]))

    def _ways(self, edge: TreeEdge) -> Iterator[tuple[float, Upright, dict[str, float]]]:
        first, second = self.picture.runs[edge.first], self.picture.runs[edge.second]
        if edge.carrier:
            coupling = next(c for c in self.picture.couplings if c.link == edge.link.name)
            centre = (coupling.x0 + coupling.x1) / 2
            yield self._straight(edge, centre, coupling.y, second, edge.second)
            yield from self._bent(edge, centre, coupling.y, second)
            return
        x0, _, x1, _ = self.picture.bounds
        steps = int((x1 - x0 + 24) / 4)
        for number in range(steps):
            x = x0 - 12 + 4 * number
            yield self._straight(edge, x, first.y, second, edge.second, first)

    def _straight(
        self, edge: TreeEdge, x: float, y: float, run: PartLine, part: str, other: PartLine | None = None
    ) -> tuple[float, Upright, dict[str, float]]:
        """Straight up or down at `x` from height `y` to `run`, the lines stretched to meet it."""
        stretches, cost = {}, 0.0
        for line in (run, other):
            if line is None or line.x0 + 2 <= x <= line.x1 - 2:
                continue
            cost += self._stretch_cost(line, x)
            stretches[line.part] = x
        start = y if not edge.carrier else y - 8.5 if run.y < y else y + 8.5
        cost += self._strikes((x - 0.5, min(start, run.y) + 1.5, x + 0.5, max(start, run.y) - 1.5))
        return cost + abs(y - run.y), self._upright(edge, (x, y), (x, run.y), ()), stretches

    def _bent(
        self, edge: TreeEdge, x: float, y: float, run: PartLine
    ) -> Iterator[tuple[float, Upright, dict[str, float]]]:
        """Down at `x`, across just over or under the run's line, and onto it."""
        for across in (run.y - 5.0, run.y + 9.5, run.y - 9.0):
            for at in (run.x0 + 3, (run.x0 + run.x1) / 2, run.arrow_x - 4, run.x1 - 3):
                cost = 300.0 + abs(at - x)
                start = y - 8.5 if across < y else y + 8.5
                for box in (
                    (x - 0.5, min(start, across), x + 0.5, max(start, across)),
                    (min(x, at), across - 0.5, max(x, at), across + 0.5),
                    (at - 0.5, min(across, run.y) + 1.5, at + 0.5, max(across, run.y) - 1.5),
                ):
                    cost += self._strikes(box)
                yield cost, self._upright(edge, (x, y), (at, run.y), ((x, across), (at, across))), {}

    def _upright(
        self, edge: TreeEdge, first: tuple[float, float], second: tuple[float, float],
        bends: tuple[tuple[float, float], ...],
    ) -> Upright:  # fmt: skip
        symbol = None if edge.carrier else (first[1] + second[1]) / 2
        if first[1] >= second[1]:
            return Upright(
                edge.link.name, edge.first, edge.second, first[0], second[0], first[1], second[1], bends, symbol
            )
        return Upright(
            edge.link.name, edge.second, edge.first, second[0], first[0], second[1], first[1], bends[::-1], symbol
        )  # fmt: skip

    def _stretch_cost(self, run: PartLine, x: float) -> float:
        members = self.axis[run.part].members
        row = [self.picture.runs[part] for part in members]
        leftmost, rightmost = min(r.x0 for r in row), max(r.x1 for r in row)
        if (x < run.x0 and run.x0 > leftmost) or (x > run.x1 and run.x1 < rightmost):
            return 50_000.0
        box = (x - 1, run.y - 0.5, run.x0 - 2, run.y + 0.5) if x < run.x0 else (
            run.x1 + 2, run.y - 0.5, x + 1, run.y + 0.5)  # fmt: skip
        if any(s.part == run.part and s.x > run.arrow_x for s in self.picture.signs) and x > run.x1:
            return 50_000.0
        return abs(x - run.x0 if x < run.x0 else x - run.x1) * 0.3 + self._struck(box) * 1000

    def _strikes(self, box: Box) -> float:
        return self._struck(box) * 1000.0

    def _struck(self, box: Box) -> int:
        if box[0] >= box[2] or box[1] >= box[3]:
            return 0
        return sum(boxes_meet(box, solid) for solid in self.picture.solid if solid[1] > -900)

    def _stretch(self, part: str, x: float) -> None:
        run = self.picture.runs[part]
        x0, x1 = min(run.x0, x - 2), max(run.x1, x + 2)
        self.picture.runs[part] = replace(run, x0=x0, x1=x1)
        self.picture.solid.append((x0, run.y - 1.2, x1, run.y + 1.2))

    def _label(self, link: Link, upright: Upright) -> None:
        lines = lines_of_text(self.links[link.name])
        width = max(look.text_size(text, NAME, bold)[0] for text, bold in lines)
        height = height_of(lines)
        span = upright.top - upright.bottom
        best = 0.5
        if link.kind in ("worm gear", "rack"):
            # Their symbol stands by the worm, or by the rack.
            best = 0.1 if (upright.lower == link.ports[0]) == (link.kind == "worm gear") else 0.9
        places = []
        for number in range(17):
            share = 0.1 + number * 0.05
            y = upright.bottom + span * share + height / 2
            for left, x in enumerate((upright.x + HALF + 1, upright.x - HALF - 1 - width)):
                struck = self._struck((x - AIR, y - height, x + width + AIR, y))
                middle = y - height / 2
                symbol = self._struck((upright.x - HALF, middle - 3.5, upright.x + HALF, middle + 3.5))
                places.append((struck + symbol, abs(share - best) + 0.01 * left, x, y))
        struck, _, x, y = min(places)
        self.hits += struck
        self.picture.write(lines, x, y, link.name)
        middle = y - height / 2
        self.picture.solid.append((upright.x - HALF, middle - 4, upright.x + HALF, middle + 4))
        at = self.picture.uprights.index(upright)
        self.picture.uprights[at] = replace(upright, symbol_y=middle)
