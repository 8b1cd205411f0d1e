"""Where everything stands in a train diagram, worked out for any train; nothing is drawn here.

Shafts are level lines. Shafts on one axis (joined by a clutch, a screw or the suns of a differential)
share a line; every other link is an upright between two lines. The axes form a tree that hangs from
the drive; links that close a loop are threaded through it afterwards. The order in which the
branches hang, and the way round of each axis, are tried out until nothing is gained: the fewest
crossings first, then the smallest sheet. Lengths are millimetres on paper, y upwards.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from handlead.kinematics.train.links import Brake, ChangeGears, Clutch, Differential, Link, Screw
from handlead.kinematics.train.solution import Solution
from handlead.kinematics.train.train import Train
from handlead.viz.look import look
from handlead.viz.look.shop import PLAIN, Shop

from .train_words import LinkWords, PartWords, links_in_words, parts_in_words

Box = tuple[float, float, float, float]
"""x0, y0, x1, y1 with x0 <= x1 and y0 <= y1."""

#: Type sizes in points of names and of what stands under them.
NAME, FIGURES = 7.5, 7.0

_LINE = 1.2 / look.POINTS_PER_MM
#: Air round a label.
_AIR = 0.8
#: Room for the arrow that tells a shaft's turning, and for the sign of an end or a drive.
_ARROW, _SIGN = 6.0, 11.0
#: Half the width of an upright's symbol.
_HALF = 3.2
#: The two uprights of a two-pair set of change gears stand so far apart.
_STUD = 9.0
_CLUTCH, _NUT, _SUNS, _BRAKE = 9.0, 12.0, 17.0, 8.0
#: Nothing on a line stands higher over it than this.
_HIGHEST = 21.0


# ---------------------------------------------------------------- what a layout is


@dataclass(frozen=True)
class Label:
    """One line of text: left end and foot of its line, and what it belongs to."""

    text: str
    x: float
    y: float
    points: float
    bold: bool
    owner: str

    @property
    def box(self) -> Box:
        """The paper that it takes."""
        width, _ = look.text_size(self.text, self.points, self.bold)
        return (self.x, self.y, self.x + width, self.y + self.points * _LINE)


@dataclass(frozen=True)
class Run:
    """A part's line, with the place of the arrow across it."""

    part: str
    x0: float
    x1: float
    y: float
    arrow_x: float
    slides: bool


@dataclass(frozen=True)
class Upright:
    """A link between two lines: `upper` and `lower` are its parts, `x` where it meets the lower one.

    `upper_x` is where it meets the upper one. `bends` are the corners on the way where the link isn't
    straight. The symbol stands about `symbol_y`, or half way where that is None.
    """

    link: str
    upper: str
    lower: str
    upper_x: float
    x: float
    top: float
    bottom: float
    bends: tuple[tuple[float, float], ...] = ()
    symbol_y: float | None = None

    @property
    def points(self) -> tuple[tuple[float, float], ...]:
        """The way from the upper line to the lower one."""
        return ((self.upper_x, self.top), *self.bends, (self.x, self.bottom))


@dataclass(frozen=True)
class Coupling:
    """A link between two parts on one line: `left` and `right` of it, from `x0` to `x1`."""

    link: str
    left: str
    right: str
    x0: float
    x1: float
    y: float


@dataclass(frozen=True)
class Sign:
    """Something that stands on a part's line: "brake", "drive" or the name of an end."""

    kind: str
    name: str
    part: str
    x: float
    y: float


@dataclass(frozen=True)
class TrainLayout:
    """A whole diagram: `words` of parts and links, and where everything stands within `width` by `height`."""

    parts: Mapping[str, PartWords]
    links: Mapping[str, LinkWords]
    runs: tuple[Run, ...]
    uprights: tuple[Upright, ...]
    couplings: tuple[Coupling, ...]
    signs: tuple[Sign, ...]
    labels: tuple[Label, ...]
    width: float
    height: float

    def overlaps(self) -> list[tuple[Label, Label]]:
        """Pairs of labels that lie on each other."""
        boxes = [(label, label.box) for label in self.labels]
        return [(a, b) for (a, one), (b, other) in itertools.combinations(boxes, 2) if _meets(one, other)]

    def crossings(self) -> list[tuple[str, str]]:
        """An upright and a line that cross without being joined, or two uprights."""
        found = []
        for upright in self.uprights:
            for (x0, y0), (x1, y1) in itertools.pairwise(upright.points):
                box = (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))
                for run in self.runs:
                    if run.part not in (upright.upper, upright.lower) and _meets(
                        box, (run.x0, run.y, run.x1, run.y), 0.01
                    ):
                        found.append((upright.link, run.part))
        for one, other in itertools.combinations(self.uprights, 2):
            if any(_meets(a, b, 0.01) for a in _segments(one) for b in _segments(other)):
                found.append((one.link, other.link))
        return found

    def struck_labels(self) -> list[tuple[str, Label]]:
        """Labels with a line, an upright or a coupling running through them."""
        found = []
        for label in self.labels:
            box = label.box
            for run in self.runs:
                if _meets(box, (run.x0, run.y, run.x1, run.y)):
                    found.append((run.part, label))
            for upright in self.uprights:
                if any(_meets(box, segment) for segment in _segments(upright)):
                    found.append((upright.link, label))
        return found


def _segments(upright: Upright) -> Iterator[Box]:
    for (x0, y0), (x1, y1) in itertools.pairwise(upright.points):
        yield (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))


def _meets(one: Box, other: Box, air: float = -0.01) -> bool:
    return (
        one[0] < other[2] + air
        and other[0] < one[2] + air
        and one[1] < other[3] + air
        and other[1] < one[3] + air
    )


# ---------------------------------------------------------------- axes and their tree


@dataclass
class _Axis:
    """Parts on one line, left to right, and the links between neighbours."""

    members: list[str]
    joins: list[Link] = field(default_factory=list)

    def turned(self) -> _Axis:
        return _Axis(self.members[::-1], self.joins[::-1])


@dataclass(frozen=True)
class _Edge:
    """A link that is an upright; `carrier` where it is a differential's frame, hung from its suns."""

    link: Link
    first: str
    second: str
    carrier: bool = False


def _axes(train: Train) -> tuple[dict[str, _Axis], list[_Edge]]:
    """The parts gathered into axes, and the links left over as uprights."""
    axis = {part: _Axis([part]) for part in train.parts}
    differentials = [link for link in train.links if isinstance(link, Differential)]
    joined: set[str] = set()
    for kind in (Differential, Clutch, Screw):
        for link in train.links:
            if isinstance(link, kind) and _join(axis, link, differentials):
                joined.add(link.name)
    edges = []
    for link in train.links:
        if isinstance(link, Differential):
            if link.name not in joined:
                edges.append(_Edge(link, *link.suns))
            edges.append(_Edge(link, link.suns[1], link.carrier, carrier=link.name in joined))
        elif link.name not in joined and len(link.ports) == 2:
            edges.append(_Edge(link, *link.ports))
    return axis, edges


def _join(axis: dict[str, _Axis], link: Link, differentials: list[Differential]) -> bool:
    """Bring the first two ports of `link` onto one line, if both stand at an end of theirs."""
    first, second = link.ports[:2]
    one, other = axis[first], axis[second]
    members = {*one.members, *other.members}
    if one is other or any(d.carrier in members and members & set(d.suns) for d in differentials):
        return False
    if first not in (one.members[0], one.members[-1]) or second not in (other.members[0], other.members[-1]):
        return False
    left = one if one.members[-1] == first else one.turned()
    right = other if other.members[0] == second else other.turned()
    whole = _Axis(left.members + right.members, [*left.joins, link, *right.joins])
    for part in whole.members:
        axis[part] = whole
    return True


@dataclass
class _Branch:
    """An axis in the tree: the edge that it hangs from, the part of its own that takes it, its branches."""

    axis: _Axis
    edge: _Edge | None = None
    entry: str | None = None
    branches: list[_Branch] = field(default_factory=list)
    parent: _Branch | None = None

    def every(self) -> Iterator[_Branch]:
        yield self
        for branch in self.branches:
            yield from branch.every()


#: What an upright costs from the driving part to the driven one, back again, and as a carrier.
_ALONG, _BACK, _CARRIER = 1, 60, 400


def _tree(train: Train, drive: str) -> tuple[list[_Branch], list[_Edge]]:
    """The trees of axes, the drive's first, and the edges that close loops."""
    axis, edges = _axes(train)
    ways: dict[int, list[tuple[int, int, _Edge, str, str]]] = {}
    for number, edge in enumerate(edges):
        for near, far, back in ((edge.first, edge.second, False), (edge.second, edge.first, True)):
            cost = _CARRIER if edge.carrier else _BACK if back else _ALONG
            ways.setdefault(id(axis[near]), []).append((cost, number, edge, near, far))
    roots: list[_Branch] = []
    reached: dict[int, _Branch] = {}
    used: set[int] = set()
    starts = [train.drives[drive].shaft, *(d.shaft for d in train.drives.values()), *train.parts]
    for start in starts:
        if id(axis[start]) in reached:
            continue
        root = _Branch(axis[start])
        roots.append(root)
        reached[id(axis[start])] = root
        tie = itertools.count()
        queue: list[tuple[int, int, _Branch, int, _Edge, str, str]] = []

        def offer(branch: _Branch, paid: int, queue: list = queue, tie: itertools.count = tie) -> None:  # type: ignore[type-arg]
            for cost, number, edge, near, far in ways.get(id(branch.axis), ()):
                heapq.heappush(queue, (paid + cost, next(tie), branch, number, edge, near, far))

        offer(root, 0)
        while queue:
            paid, _, parent, number, edge, _near, far = heapq.heappop(queue)
            if number in used or id(axis[far]) in reached:
                continue
            used.add(number)
            branch = _Branch(axis[far], edge, far, parent=parent)
            parent.branches.append(branch)
            reached[id(axis[far])] = branch
            offer(branch, paid)
    return roots, [edge for number, edge in enumerate(edges) if number not in used]


# ---------------------------------------------------------------- placing


@dataclass
class _Picture:
    """What has been placed so far; `solid` are boxes that nothing else may touch, with their owners."""

    runs: dict[str, Run] = field(default_factory=dict)
    uprights: list[Upright] = field(default_factory=list)
    couplings: list[Coupling] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    solid: list[Box] = field(default_factory=list)

    def shifted(self, dx: float, dy: float) -> _Picture:
        return _Picture(
            {
                part: replace(run, x0=run.x0 + dx, x1=run.x1 + dx, y=run.y + dy, arrow_x=run.arrow_x + dx)
                for part, run in self.runs.items()
            },
            [
                replace(
                    u,
                    upper_x=u.upper_x + dx,
                    x=u.x + dx,
                    top=u.top + dy,
                    bottom=u.bottom + dy,
                    bends=tuple((x + dx, y + dy) for x, y in u.bends),
                    symbol_y=None if u.symbol_y is None else u.symbol_y + dy,
                )
                for u in self.uprights
            ],
            [replace(c, x0=c.x0 + dx, x1=c.x1 + dx, y=c.y + dy) for c in self.couplings],
            [replace(s, x=s.x + dx, y=s.y + dy) for s in self.signs],
            [replace(label, x=label.x + dx, y=label.y + dy) for label in self.labels],
            [(a + dx, b + dy, c + dx, d + dy) for a, b, c, d in self.solid],
        )

    def add(self, other: _Picture) -> None:
        self.runs.update(other.runs)
        self.uprights += other.uprights
        self.couplings += other.couplings
        self.signs += other.signs
        self.labels += other.labels
        self.solid += other.solid

    def write(self, lines: Iterable[tuple[str, bool]], x: float, top: float, owner: str) -> float:
        """Write lines downwards from `top`; returns the width that they take."""
        widest, y = 0.0, top
        for text, bold in lines:
            points = NAME if bold else FIGURES
            y -= points * _LINE
            label = Label(text, x, y, points, bold, owner)
            self.labels.append(label)
            x0, y0, x1, y1 = label.box
            self.solid.append((x0 - _AIR, y0, x1 + _AIR, y1))
            widest = max(widest, x1 - x0)
        return widest

    @property
    def bounds(self) -> Box:
        xs0, ys0, xs1, ys1 = zip(*self.solid, strict=True)
        return min(xs0), min(ys0), max(xs1), max(ys1)


def _push(placed: list[Box], new: list[Box], air: float = 1.5) -> float:
    """How far `new` must go to the right to clear all of `placed`."""
    # Each pair of boxes at one height forbids an open stretch of pushes; find the least that none forbids.
    forbidden = sorted(
        (a0 - air - x1, a1 + air - x0)
        for a0, b0, a1, b1 in placed
        for x0, y0, x1, y1 in new
        if y0 < b1 and b0 < y1 and a1 + air > x0
    )
    push = 0.0
    for low, high in forbidden:
        if low < push - 1e-9 < high - 2e-9:
            push = high
        elif low >= push:
            break
    return push


def _lines_of(words: PartWords | LinkWords) -> list[tuple[str, bool]]:
    return [(words.name, True), *((line, False) for line in words.lines if line)]


def _height(lines: list[tuple[str, bool]]) -> float:
    return sum((NAME if bold else FIGURES) * _LINE for _, bold in lines)


@dataclass
class _Placer:
    """Places one tree for one set of choices: the order of each axis's branches, and its way round."""

    train: Train
    parts: Mapping[str, PartWords]
    links: Mapping[str, LinkWords]
    dropped: frozenset[str]
    """Differentials whose carrier hangs from a loop edge: the way straight down is kept free for it."""
    orders: dict[int, tuple[int, ...]] = field(default_factory=dict)
    turned: set[int] = field(default_factory=set)
    placed: dict[int, _Picture] = field(default_factory=dict)
    """Branches placed with the present choices."""

    def place(self, branch: _Branch, depth: int = 0) -> _Picture:
        """The branch with all that hangs from it; its entry's upright comes down at x = 0, its line is y = 0."""
        if id(branch) not in self.placed:
            self.placed[id(branch)] = self._place(branch, depth)
        return self.placed[id(branch)]

    def choose(self, branch: _Branch, order: tuple[int, ...], turned: bool) -> None:
        """Hang a branch's own branches in this order, and turn its axis round or not."""
        self.orders[id(branch)] = order
        (self.turned.add if turned else self.turned.discard)(id(branch))
        above: _Branch | None = branch
        while above is not None:
            self.placed.pop(id(above), None)
            above = above.parent

    def _place(self, branch: _Branch, depth: int) -> _Picture:
        axis = branch.axis.turned() if id(branch) in self.turned else branch.axis
        order = self.orders.get(id(branch), tuple(range(len(branch.branches))))
        picture = _Picture()
        cursor, text_from, entry_x = 0.0, 0.0, 0.0
        for index, part in enumerate(axis.members):
            if part == branch.entry:
                leftward = depth % 2 == 1 and index == 0
                entry_x = max(cursor + (3 * _HALF + 0.6 if leftward else _HALF + 0.5), text_from + _HALF)
                entry_x += self._room_above(picture, branch, entry_x)
            hung = [branch.branches[i] for i in order if self._hangs_from(branch.branches[i], part)]
            entered = entry_x if part == branch.entry else None
            cursor = self._member(picture, part, cursor, text_from, entered, hung, depth)
            if index < len(axis.joins):
                cursor, text_from = self._coupling(picture, axis, index, cursor, branch, depth)
        return picture.shifted(-entry_x, 0.0)

    def _room_above(self, picture: _Picture, branch: _Branch, x: float) -> float:
        """How far to the right the branch must be entered for the symbol it hangs from to clear what stands there."""
        if branch.edge is None or branch.edge.carrier:
            return 0.0
        left = x - _spread(branch.edge.link) - _HALF
        return _push(picture.solid, [(left, 1.3, x + _HALF, _HIGHEST)], 0.3)

    def _hangs_from(self, branch: _Branch, part: str) -> bool:
        edge = branch.edge
        assert edge is not None
        return not edge.carrier and part == (edge.second if branch.entry == edge.first else edge.first)

    # -- one member of an axis: its line, its label, its signs, what hangs from it

    def _member(
        self, picture: _Picture, part: str, start: float, text_from: float, entered: float | None,
        hung: list[_Branch], depth: int,
    ) -> float:  # fmt: skip
        words = self.parts[part]
        cursor = start + 1.0 if entered is None else entered + _HALF + 1.0
        if entered is None and not picture.runs:
            cursor = self._drive_sign(picture, part, start, cursor)
        lines = _lines_of(words)
        cursor = max(cursor, text_from)
        cursor += picture.write(lines, cursor, _height(lines) + self._lift(part), part) + 2.0
        for link in self.train.links:
            if isinstance(link, Brake) and link.shaft == part:
                cursor = self._brake(picture, link, cursor)
        low = start + _HALF + 0.5
        last = low
        for number, branch in enumerate(hung):
            wanted = low if number == 0 else last + 2 * _HALF
            if number == 0 and entered is not None and entered - start < 3 * _HALF:
                wanted = entered + 2 * _HALF
            last = self._hang(picture, branch, wanted, start, depth, entered)
        arrow_x = max(cursor, last + _HALF if hung else cursor) + _ARROW / 2
        arrow_x += _push(picture.solid, [(arrow_x - 2, -3.0, arrow_x + 2, 3.0)], 0.3)
        end = self._end_signs(picture, part, arrow_x + _ARROW / 2, entered)
        picture.runs[part] = Run(part, start, end, 0.0, arrow_x, part in self.train.slides)
        picture.solid.append((start, -1.2, end, 1.2))
        picture.solid.append((arrow_x - 2, -3.0, arrow_x + 2, 3.0))
        return end

    def _lift(self, part: str) -> float:
        """How far a part's words stand over its line: clear of the pulleys and worms on it."""
        kinds = [link.kind for link in self.train.links if part in link.ports[:2]]
        return 2.8 if "belt" in kinds or "chain" in kinds else 1.7 if "worm gear" in kinds else 1.2

    def _drive_sign(self, picture: _Picture, part: str, x: float, cursor: float) -> float:
        names = [name for name, drive in self.train.drives.items() if drive.shaft == part]
        if not names:
            return cursor
        picture.signs.append(Sign("drive", names[0], part, x + 4, 0.0))
        picture.solid.append((x - 0.5, -4.5, x + 8.5, 4.5))
        return x + _SIGN

    def _end_signs(self, picture: _Picture, part: str, end: float, entered: float | None) -> float:
        kinds = [(name, name) for name, at in self.train.ends.items() if at.part == part]
        if entered is not None:
            kinds += [("drive", name) for name, drive in self.train.drives.items() if drive.shaft == part]
        for kind, name in kinds:
            end += _push(picture.solid, [(end, -4.5, end + _SIGN, 4.5)], 0.3)
            picture.signs.append(Sign(kind, name, part, end + _SIGN / 2 - 0.5, 0.0))
            picture.solid.append((end, -4.5, end + _SIGN, 4.5))
            end += _SIGN
        return end

    def _brake(self, picture: _Picture, link: Brake, cursor: float) -> float:
        lines = _lines_of(self.links[link.name])
        width = picture.write(lines, cursor, _height(lines) + 1.2, link.name)
        x = cursor + _BRAKE / 2
        picture.signs.append(Sign("brake", link.name, link.shaft, x, 0.0))
        picture.solid.append((x - 4, -7.0, x + 4, 0.0))
        return cursor + max(width, _BRAKE) + 2.0

    def _coupling(
        self, picture: _Picture, axis: _Axis, index: int, cursor: float, branch: _Branch, depth: int
    ) -> tuple[float, float]:
        """The link between a member and the next; returns where the next one's line and its words may begin."""
        link = axis.joins[index]
        room = _SUNS if isinstance(link, Differential) else _NUT if isinstance(link, Screw) else _CLUTCH
        lines = _lines_of(self.links[link.name])
        left, right = axis.members[index], axis.members[index + 1]
        hung = [b for b in branch.branches if b.edge is not None and b.edge.carrier and b.edge.link is link]
        x = cursor + room / 2
        if hung:
            x = max(x, self._hang(picture, hung[0], x, cursor - 2 * _HALF, depth))
        elif link.name in self.dropped:
            drop = [(x - 1.5, -1000.0, x + 1.5, -8.0)]
            x += _push(picture.solid, drop)
        tall = 8.0 if isinstance(link, Differential) else 4.0
        if not hung:
            x += _push(picture.solid, [(x - room / 2 + 0.1, -tall, x + room / 2, -1.3)], 0.3)
        if not hung and link.name in self.dropped:
            picture.solid.append((x - 1.5, -1000.0, x + 1.5, -8.0))
        run = picture.runs[left]
        if x - room / 2 > run.x1:
            picture.runs[left] = replace(run, x1=x - room / 2)
            picture.solid.append((run.x1, -1.2, x - room / 2, 1.2))
        picture.couplings.append(Coupling(link.name, left, right, x - room / 2, x + room / 2, 0.0))
        picture.solid.append((x - room / 2, -tall, x + room / 2, min(tall, 6.0)))
        above = 6.0 if isinstance(link, Differential) else 4.0
        width = picture.write(lines, x - room / 2, _height(lines) + above, link.name)
        return x + room / 2, x - room / 2 + width + 2.5

    # -- one branch under an axis

    def _hang(
        self, picture: _Picture, branch: _Branch, wanted: float, start: float, depth: int,
        entered: float | None = None,
    ) -> float:  # fmt: skip
        """Hang a branch at `wanted` or as little as need be to the right of it; returns where its upright is."""
        assert branch.edge is not None
        link, carrier = branch.edge.link, branch.edge.carrier
        near = branch.edge.second if branch.entry == branch.edge.first else branch.edge.first
        below = self.place(branch, depth + 1)
        lines = [] if carrier else _lines_of(self.links[link.name])
        spread = _spread(link)
        gap = self._gap(below, branch.edge, lines, self._drop(near))
        hung = below.shifted(0.0, -gap)
        hung.write(lines, _HALF + 1.0, -self._drop(near), link.name)
        hung.solid.append((-spread - _HALF, -gap + 1.3, _HALF, -1.3))
        assert branch.entry is not None
        bends = ((-spread, -gap / 2), (0.0, -gap / 2)) if spread else ()
        hung.uprights.append(Upright(link.name, near, branch.entry, -spread, 0.0, 0.0, -gap, bends))
        x = max(wanted, start + spread + _HALF + 0.5)
        if entered is not None and abs(x - spread - entered) < 2 * _HALF:
            # Two gears one over the other would look like one wheel in two meshes.
            x = entered + 2 * _HALF + spread
        x += _push(picture.solid, [(a + x, b, c + x, d) for a, b, c, d in hung.solid])
        picture.add(hung.shifted(x, 0.0))
        return x

    def _drop(self, part: str) -> float:
        """How far under a part's line the words of a link that hangs from it begin: clear of its pulleys."""
        return 2.8 if self._lift(part) > 2.0 else 1.6

    def _gap(self, below: _Picture, edge: _Edge, lines: list[tuple[str, bool]], drop: float) -> float:
        """How far the branch's line hangs under its parent's: room for the symbol and for both labels."""
        least = 18.0 if edge.carrier else 21.0 if _spread(edge.link) else 14.0
        if not lines:
            return least
        width = max(look.text_size(text, NAME if bold else FIGURES, bold)[0] for text, bold in lines)
        under = (_HALF + 1.0 - _AIR, _HALF + 1.0 + width + _AIR)
        top = max((y1 for x0, _, x1, y1 in below.solid if x0 < under[1] and under[0] < x1), default=0.0)
        return max(least, _height(lines) + top + drop + 0.8)


def _spread(link: Link) -> float:
    """How far apart an upright's two ends stand sideways: change gears with a stud have two columns."""
    two = isinstance(link, ChangeGears) and (
        len(link.mounted.pairs) > 1 if link.mounted else max(link.pairs) > 1
    )
    return _STUD if two else 0.0


# ---------------------------------------------------------------- loops


@dataclass
class _Router:
    """Threads the links that close loops through a picture that is otherwise complete."""

    picture: _Picture
    links: Mapping[str, LinkWords]
    axis: Mapping[str, _Axis]
    hits: int = 0

    def route(self, edge: _Edge) -> None:
        """Add `edge` where it strikes the least; what it strikes is counted in `hits`."""
        best = min(self._ways(edge), key=lambda way: way[0])
        cost, upright, stretches = best
        self.hits += int(cost // 1000)
        for part, x in stretches.items():
            self._stretch(part, x)
        self.picture.uprights.append(upright)
        if not edge.carrier:
            self._label(edge.link, upright)
        for box in _segments(upright):
            self.picture.solid.append((box[0] - 1, box[1], box[2] + 1, box[3]))

    def _ways(self, edge: _Edge) -> Iterator[tuple[float, Upright, dict[str, float]]]:
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
        self, edge: _Edge, x: float, y: float, run: Run, part: str, other: Run | None = None
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
        self, edge: _Edge, x: float, y: float, run: Run
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
        self, edge: _Edge, first: tuple[float, float], second: tuple[float, float],
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

    def _stretch_cost(self, run: Run, x: float) -> float:
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
        return sum(_meets(box, solid) for solid in self.picture.solid if solid[1] > -900)

    def _stretch(self, part: str, x: float) -> None:
        run = self.picture.runs[part]
        x0, x1 = min(run.x0, x - 2), max(run.x1, x + 2)
        self.picture.runs[part] = replace(run, x0=x0, x1=x1)
        self.picture.solid.append((x0, run.y - 1.2, x1, run.y + 1.2))

    def _label(self, link: Link, upright: Upright) -> None:
        lines = _lines_of(self.links[link.name])
        width = max(look.text_size(text, NAME, bold)[0] for text, bold in lines)
        height = _height(lines)
        span = upright.top - upright.bottom
        best = 0.5
        if link.kind in ("worm gear", "rack"):
            # Their symbol stands by the worm, or by the rack.
            best = 0.1 if (upright.lower == link.ports[0]) == (link.kind == "worm gear") else 0.9
        places = []
        for number in range(17):
            share = 0.1 + number * 0.05
            y = upright.bottom + span * share + height / 2
            for left, x in enumerate((upright.x + _HALF + 1, upright.x - _HALF - 1 - width)):
                struck = self._struck((x - _AIR, y - height, x + width + _AIR, y))
                middle = y - height / 2
                symbol = self._struck((upright.x - _HALF, middle - 3.5, upright.x + _HALF, middle + 3.5))
                places.append((struck + symbol, abs(share - best) + 0.01 * left, x, y))
        struck, _, x, y = min(places)
        self.hits += struck
        self.picture.write(lines, x, y, link.name)
        middle = y - height / 2
        self.picture.solid.append((upright.x - _HALF, middle - 4, upright.x + _HALF, middle + 4))
        at = self.picture.uprights.index(upright)
        self.picture.uprights[at] = replace(upright, symbol_y=middle)


# ---------------------------------------------------------------- the search


#: No branch's order is tried in more ways than this, and no more rounds of trying are made.
_MOST_ORDERS, _ROUNDS = 24, 3


def lay_out(solution: Solution, shop: Shop = PLAIN) -> TrainLayout:
    """The diagram of a solved train."""
    train = solution.train
    parts, links = parts_in_words(solution, shop), links_in_words(solution, shop)
    roots, loops = _tree(train, solution.drive)
    axis, _ = _axes(train)
    dropped = frozenset(edge.link.name for edge in loops if edge.carrier)
    placer = _Placer(train, parts, links, dropped)

    def attempt() -> tuple[float, _Picture]:
        picture = _Picture()
        for root in roots:
            placed = placer.place(root)
            x = _push(picture.solid, placed.solid, 6.0) if picture.solid else 0.0
            picture.add(placed.shifted(x, 0.0))
        picture.solid = [box for box in picture.solid if box[1] > -900]
        router = _Router(picture, links, axis)
        for edge in loops:
            router.route(edge)
        x0, y0, x1, y1 = picture.bounds
        width, height = x1 - x0, y1 - y0
        return router.hits * 10_000 + width * height / 100 + 2 * max(0, width - 1.5 * height) + height, picture

    best, picture = attempt()
    for _ in range(_ROUNDS):
        before = best
        for branch in [b for root in roots for b in root.every()]:
            best, picture = _improve(placer, branch, attempt, best, picture)
        if best == before:
            break
    return _finished(train, parts, links, picture)


def _orders(branch: _Branch) -> Iterator[tuple[int, ...]]:
    """The orders in which the branches can hang that look different: those of one part among themselves."""
    groups: dict[str, list[int]] = {}
    for number, hung in enumerate(branch.branches):
        edge = hung.edge
        assert edge is not None
        near = edge.second if hung.entry == edge.first else edge.first
        groups.setdefault(near, []).append(number)
    for ways in itertools.product(*(itertools.permutations(group) for group in groups.values())):
        yield tuple(itertools.chain.from_iterable(ways))


def _improve(placer: _Placer, branch: _Branch, attempt, best: float, picture: _Picture):  # type: ignore[no-untyped-def]
    """Try the other orders of a branch's own branches, and its axis the other way round."""
    count = len(branch.branches)
    orders = list(itertools.islice(_orders(branch), _MOST_ORDERS))
    ways = [False, True] if len(branch.axis.members) > 1 else [False]
    if len(orders) * len(ways) == 1:
        return best, picture
    chosen = (placer.orders.get(id(branch), tuple(range(count))), id(branch) in placer.turned)
    kept = chosen
    for way in ways:
        for order in orders:
            if (order, way) == chosen:
                continue
            placer.choose(branch, order, way)
            cost, tried = attempt()
            if cost < best - 1e-9:
                best, picture, kept = cost, tried, (order, way)
    placer.choose(branch, *kept)
    return best, picture


def _finished(
    train: Train, parts: Mapping[str, PartWords], links: Mapping[str, LinkWords], picture: _Picture
) -> TrainLayout:
    """The picture moved to its corner, with a margin."""
    margin = 5.0
    x0, y0, x1, y1 = picture.bounds
    moved = picture.shifted(margin - x0, margin - y0)
    return TrainLayout(
        parts,
        links,
        tuple(moved.runs[part] for part in train.parts),
        tuple(moved.uprights),
        tuple(moved.couplings),
        tuple(moved.signs),
        tuple(moved.labels),
        x1 - x0 + 2 * margin,
        y1 - y0 + 2 * margin,
    )
