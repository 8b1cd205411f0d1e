"""The axes of a train diagram put in their places, branch by branch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import Brake, Differential, Screw
from handlead.kinematics.links.mounted import ChangeGears
from handlead.kinematics.train.train import Train
from handlead.viz.look import look

from .train_picture import TrainPicture, height_of, lines_of_text, push_apart
from .train_shapes import (
    AIR,
    ARROW,
    BRAKE,
    CLUTCH,
    FIGURES,
    HALF,
    HIGHEST,
    NAME,
    NUT,
    SIGN,
    STUD,
    SUNS,
    Coupling,
    PartLine,
    Sign,
    Upright,
)
from .train_tree import Branch, TreeAxis, TreeEdge
from .train_words import LinkWords, PartWords


@dataclass
class Placer:
    """Places one tree for one set of choices: the order of each axis's branches, and its way round."""

    train: Train
    parts: Mapping[str, PartWords]
    links: Mapping[str, LinkWords]
    dropped: frozenset[str]
    """Differentials whose carrier hangs from a loop edge: the way straight down is kept free for it."""
    orders: dict[int, tuple[int, ...]] = field(default_factory=dict)
    turned: set[int] = field(default_factory=set)
    placed: dict[int, TrainPicture] = field(default_factory=dict)
    """Branches placed with the present choices."""

    def place(self, branch: Branch, depth: int = 0) -> TrainPicture:
        """The branch with all that hangs from it; its entry's upright comes down at x = 0, its line is y = 0."""
        if id(branch) not in self.placed:
            self.placed[id(branch)] = self._place(branch, depth)
        return self.placed[id(branch)]

    def choose(self, branch: Branch, order: tuple[int, ...], turned: bool) -> None:
        """Hang a branch's own branches in this order, and turn its axis round or not."""
        self.orders[id(branch)] = order
        (self.turned.add if turned else self.turned.discard)(id(branch))
        above: Branch | None = branch
        while above is not None:
            self.placed.pop(id(above), None)
            above = above.parent

    def _place(self, branch: Branch, depth: int) -> TrainPicture:
        axis = branch.axis.turned() if id(branch) in self.turned else branch.axis
        order = self.orders.get(id(branch), tuple(range(len(branch.branches))))
        picture = TrainPicture()
        cursor, text_from, entry_x = 0.0, 0.0, 0.0
        for index, part in enumerate(axis.members):
            if part == branch.entry:
                leftward = depth % 2 == 1 and index == 0
                entry_x = max(cursor + (3 * HALF + 0.6 if leftward else HALF + 0.5), text_from + HALF)
                entry_x += self._room_above(picture, branch, entry_x)
            hung = [branch.branches[i] for i in order if self._hangs_from(branch.branches[i], part)]
            entered = entry_x if part == branch.entry else None
            cursor = self._member(picture, part, (cursor, text_from), entered, hung, depth)
            if index < len(axis.joins):
                cursor, text_from = self._coupling(picture, axis, index, cursor, branch, depth)
        return picture.shifted(-entry_x, 0.0)

    def _room_above(self, picture: TrainPicture, branch: Branch, x: float) -> float:
        """How far to the right the branch must be entered for the symbol it hangs from to clear what stands there."""
        if branch.edge is None or branch.edge.carrier:
            return 0.0
        left = x - _spread(branch.edge.link) - HALF
        return push_apart(picture.solid, [(left, 1.3, x + HALF, HIGHEST)], 0.3)

    def _hangs_from(self, branch: Branch, part: str) -> bool:
        edge = branch.edge
        assert edge is not None
        return not edge.carrier and part == (edge.second if branch.entry == edge.first else edge.first)

    # -- one member of an axis: its line, its label, its signs, what hangs from it

    def _member(
        self, picture: TrainPicture, part: str, begin: tuple[float, float], entered: float | None,
        hung: list[Branch], depth: int,
    ) -> float:  # fmt: skip
        """Draw a part on its axis; its line and its words may `begin` there. Returns where its line ends."""
        words, (start, text_from) = self.parts[part], begin
        cursor = start + 1.0 if entered is None else entered + HALF + 1.0
        if entered is None and not picture.runs:
            cursor = self._drive_sign(picture, part, start, cursor)
        lines = lines_of_text(words)
        cursor = max(cursor, text_from)
        cursor += picture.write(lines, cursor, height_of(lines) + self._lift(part), part) + 2.0
        for link in self.train.links:
            if isinstance(link, Brake) and link.shaft == part:
                cursor = self._brake(picture, link, cursor)
        low = start + HALF + 0.5
        last = low
        for number, branch in enumerate(hung):
            wanted = low if number == 0 else last + 2 * HALF
            if number == 0 and entered is not None and entered - start < 3 * HALF:
                wanted = entered + 2 * HALF
            last = self._hang(picture, branch, wanted, start, depth, entered)
        arrow_x = max(cursor, last + HALF if hung else cursor) + ARROW / 2
        arrow_x += push_apart(picture.solid, [(arrow_x - 2, -3.0, arrow_x + 2, 3.0)], 0.3)
        end = self._end_signs(picture, part, arrow_x + ARROW / 2, entered)
        picture.runs[part] = PartLine(part, start, end, 0.0, arrow_x, part in self.train.slides)
        picture.solid.append((start, -1.2, end, 1.2))
        picture.solid.append((arrow_x - 2, -3.0, arrow_x + 2, 3.0))
        return end

    def _lift(self, part: str) -> float:
        """How far a part's words stand over its line: clear of the pulleys and worms on it."""
        kinds = [link.kind for link in self.train.links if part in link.ports[:2]]
        return 2.8 if "belt" in kinds or "chain" in kinds else 1.7 if "worm gear" in kinds else 1.2

    def _drive_sign(self, picture: TrainPicture, part: str, x: float, cursor: float) -> float:
        names = [name for name, drive in self.train.drives.items() if drive.shaft == part]
        if not names:
            return cursor
        picture.signs.append(Sign("drive", names[0], part, x + 4, 0.0))
        picture.solid.append((x - 0.5, -4.5, x + 8.5, 4.5))
        return x + SIGN

    def _end_signs(self, picture: TrainPicture, part: str, end: float, entered: float | None) -> float:
        kinds = [(name, name) for name, at in self.train.ends.items() if at.part == part]
        if entered is not None:
            kinds += [("drive", name) for name, drive in self.train.drives.items() if drive.shaft == part]
        for kind, name in kinds:
            end += push_apart(picture.solid, [(end, -4.5, end + SIGN, 4.5)], 0.3)
            picture.signs.append(Sign(kind, name, part, end + SIGN / 2 - 0.5, 0.0))
            picture.solid.append((end, -4.5, end + SIGN, 4.5))
            end += SIGN
        return end

    def _brake(self, picture: TrainPicture, link: Brake, cursor: float) -> float:
        lines = lines_of_text(self.links[link.name])
        width = picture.write(lines, cursor, height_of(lines) + 1.2, link.name)
        x = cursor + BRAKE / 2
        picture.signs.append(Sign("brake", link.name, link.shaft, x, 0.0))
        picture.solid.append((x - 4, -7.0, x + 4, 0.0))
        return cursor + max(width, BRAKE) + 2.0

    def _coupling(
        self, picture: TrainPicture, axis: TreeAxis, index: int, cursor: float, branch: Branch, depth: int
    ) -> tuple[float, float]:
        """The link between a member and the next; returns where the next one's line and its words may begin."""
        link = axis.joins[index]
        room = SUNS if isinstance(link, Differential) else NUT if isinstance(link, Screw) else CLUTCH
        lines = lines_of_text(self.links[link.name])
        left, right = axis.members[index], axis.members[index + 1]
        hung = [b for b in branch.branches if b.edge is not None and b.edge.carrier and b.edge.link is link]
        x = cursor + room / 2
        if hung:
            x = max(x, self._hang(picture, hung[0], x, cursor - 2 * HALF, depth))
        elif link.name in self.dropped:
            drop = [(x - 1.5, -1000.0, x + 1.5, -8.0)]
            x += push_apart(picture.solid, drop)
        tall = 8.0 if isinstance(link, Differential) else 4.0
        if not hung:
            x += push_apart(picture.solid, [(x - room / 2 + 0.1, -tall, x + room / 2, -1.3)], 0.3)
        if not hung and link.name in self.dropped:
            picture.solid.append((x - 1.5, -1000.0, x + 1.5, -8.0))
        run = picture.runs[left]
        if x - room / 2 > run.x1:
            picture.runs[left] = replace(run, x1=x - room / 2)
            picture.solid.append((run.x1, -1.2, x - room / 2, 1.2))
        picture.couplings.append(Coupling(link.name, left, right, x - room / 2, x + room / 2, 0.0))
        picture.solid.append((x - room / 2, -tall, x + room / 2, min(tall, 6.0)))
        above = 6.0 if isinstance(link, Differential) else 4.0
        width = picture.write(lines, x - room / 2, height_of(lines) + above, link.name)
        return x + room / 2, x - room / 2 + width + 2.5

    # -- one branch under an axis

    def _hang(
        self, picture: TrainPicture, branch: Branch, wanted: float, start: float, depth: int,
        entered: float | None = None,
    ) -> float:  # fmt: skip
        """Hang a branch at `wanted` or as little as need be to the right of it; returns where its upright is."""
        assert branch.edge is not None
        link, carrier = branch.edge.link, branch.edge.carrier
        near = branch.edge.second if branch.entry == branch.edge.first else branch.edge.first
        below = self.place(branch, depth + 1)
        lines = [] if carrier else lines_of_text(self.links[link.name])
        spread = _spread(link)
        gap = self._gap(below, branch.edge, lines, self._drop(near))
        hung = below.shifted(0.0, -gap)
        hung.write(lines, HALF + 1.0, -self._drop(near), link.name)
        hung.solid.append((-spread - HALF, -gap + 1.3, HALF, -1.3))
        assert branch.entry is not None
        bends = ((-spread, -gap / 2), (0.0, -gap / 2)) if spread else ()
        hung.uprights.append(Upright(link.name, near, branch.entry, -spread, 0.0, 0.0, -gap, bends))
        x = max(wanted, start + spread + HALF + 0.5)
        if entered is not None and abs(x - spread - entered) < 2 * HALF:
            # Two gears one over the other would look like one wheel in two meshes.
            x = entered + 2 * HALF + spread
        x += push_apart(picture.solid, [(a + x, b, c + x, d) for a, b, c, d in hung.solid])
        picture.add(hung.shifted(x, 0.0))
        return x

    def _drop(self, part: str) -> float:
        """How far under a part's line the words of a link that hangs from it begin: clear of its pulleys."""
        return 2.8 if self._lift(part) > 2.0 else 1.6

    def _gap(self, below: TrainPicture, edge: TreeEdge, lines: list[tuple[str, bool]], drop: float) -> float:
        """How far the branch's line hangs under its parent's: room for the symbol and for both labels."""
        least = 18.0 if edge.carrier else 21.0 if _spread(edge.link) else 14.0
        if not lines:
            return least
        width = max(look.text_size(text, NAME if bold else FIGURES, bold)[0] for text, bold in lines)
        under = (HALF + 1.0 - AIR, HALF + 1.0 + width + AIR)
        top = max((y1 for x0, _, x1, y1 in below.solid if x0 < under[1] and under[0] < x1), default=0.0)
        return max(least, height_of(lines) + top + drop + 0.8)


def _spread(link: Link) -> float:
    """How far apart an upright's two ends stand sideways: change gears with a stud have two columns."""
    two = isinstance(link, ChangeGears) and (
        len(link.mounted.pairs) > 1 if link.mounted else max(link.pairs) > 1
    )
    return STUD if two else 0.0
