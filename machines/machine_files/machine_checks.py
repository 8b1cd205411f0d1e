"""A machine file's links, levers and imperfections held against each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from handlead.kinematics.frame.words import POSITIVES
from handlead.kinematics.links.links import KINDS
from handlead.machines.keys.link_keys import LINK
from handlead.machines.keys.machine_keys import MACHINE
from handlead.machines.tables.reading import Complaints, check_names, rows, table_of
from handlead.machines.toml.errors import Disagreement, Missing, WrongValue
from handlead.machines.toml.guesses import either, guess
from handlead.machines.toml.places import Document, Path_, quoted

from .levers import clashes, lever_of


def check_machine(document: Document, complaints: Complaints) -> None:
    """What ties one part of the file to another; each check leaves alone what isn't of its type."""
    if not all(isinstance(document.get(key) or {}, dict) for key in ("shafts", "slides")):
        return
    shafts, slides = table_of(document, "shafts"), table_of(document, "slides")
    links = {row["name"]: index for index, row in rows(document, "link") if isinstance(row.get("name"), str)}
    known: dict[str, Iterable[str]] = {"shaft": shafts, "slide": slides, "part": {**shafts, **slides}}
    if isinstance(document.get("link"), list):
        # A link whose kind can't be understood may be a bracket.
        may_be = [name for name, index in links.items() if _kind(document, index) in ("change gears", None)]
        known |= {"bracket": may_be, "link": links}
    check_names(document, MACHINE, known, complaints)
    _check_twice(document, complaints)
    _check_links(document, complaints)
    _check_levers(document, links, complaints)
    for key in ("imperfection", "looseness"):
        _check_imperfections(document, key, links, complaints)


def _kind(document: Document, index: int) -> str | None:
    kind = document.get("link", index, "kind")
    return kind if isinstance(kind, str) and kind in LINK else None


def _check_called(end: str, called: Mapping[str, object], complaints: Complaints) -> None:
    """The two ways of an end have two words, whether the file gives them or the frame does."""
    one, other = (called.get(way, way) for way in POSITIVES[end])
    if one == other:
        first, second = POSITIVES[end]
        message = f"{first} and {second} are both called {quoted(str(one))}. Give each way a word of its own"
        complaints.add(WrongValue, ("ends", end, "called"), message)


def _check_twice(document: Document, complaints: Complaints) -> None:
    for slide in table_of(document, "slides"):
        if slide in table_of(document, "shafts"):
            message = f"{quoted(slide)} is also a shaft ({{also}}). Give the two parts two names"
            complaints.add(Disagreement, ("slides", slide), message, ("shafts", slide))
    for key, what in (("link", "link"), ("gear_set", "gear set")):
        first: dict[str, int] = {}
        for index, row in rows(document, key):
            name = row.get("name")
            if isinstance(name, str) and first.setdefault(name, index) != index:
                message = (
                    f"another {what} has the name {quoted(name)} ({{also}}). Give each a name of its own"
                )
                complaints.add(Disagreement, (key, index, "name"), message, (key, first[name], "name"))
    used: dict[str, str] = {}
    for end, row in table_of(document, "ends").items():
        part = row.get("part") if isinstance(row, dict) else None
        if isinstance(part, str) and used.setdefault(part, end) != end:
            message = f"{quoted(part)} is already the part at {used[part]} ({{also}}). Each end has a part of its own"
            complaints.add(Disagreement, ("ends", end, "part"), message, ("ends", used[part], "part"))
        called = row.get("called") if isinstance(row, dict) else None
        if isinstance(called, dict) and end in POSITIVES:
            _check_called(end, called, complaints)


_PORTS = (("from",), ("to",), ("suns", 0), ("suns", 1), ("carrier",))


def _check_links(document: Document, complaints: Complaints) -> None:
    for index, row in rows(document, "link"):
        at: dict[str, Path_] = {}
        for port in _PORTS:
            path: Path_ = ("link", index, *port)
            part = document.get(*path)
            if isinstance(part, str) and at.setdefault(part, path) != path:
                message = f"the link joins {quoted(part)} to itself ({{also}}). It must join different parts"
                complaints.add(Disagreement, path, message, at[part])
        if row.get("kind") == "differential":
            _check_sun_ratio(document, index, complaints)
        if row.get("kind") == "rack" and "teeth" not in row and ("module" in row or "diametral_pitch" in row):
            message = '"teeth" is missing. The travel for a turn needs the teeth of the pinion'
            complaints.add(Missing, ("link", index, "teeth"), message)
        if row.get("kind") == "selector":
            _check_selector(document, index, row, complaints)
        if row.get("kind") == "template":
            _check_template(document, index, row, complaints)


def _check_sun_ratio(document: Document, index: int, complaints: Complaints) -> None:
    path = ("link", index, "sun_ratio")
    written = document.get(*path)
    if written in (0, 1) and not isinstance(written, bool):
        why = "the suns would not turn each other" if written == 0 else "the carrier would have no say"
        message = f"{written} can't be used: {why}. For the plain bevel kind write -1"
        complaints.add(WrongValue, path, message)


def _check_selector(document: Document, index: int, row: dict[str, Any], complaints: Complaints) -> None:
    ratios = row.get("ratios")
    if not isinstance(ratios, dict):
        return
    if not ratios:
        complaints.add(WrongValue, ("link", index, "ratios"), "it is empty. Write a ratio for each state")
        return
    state = row.get("state")
    if isinstance(state, str) and state not in ratios:
        complaints.named("state", state, ("link", index, "state"), ratios, " in its ratios")
    if state is None and len(ratios) > 1 and not _always_moved(document, row.get("name")):
        message = (
            '"state" is missing. No lever puts this link into a state in each of its positions, '
            f"so write the state in which it stands. {guess('', ratios)}"
        )
        complaints.add(Missing, ("link", index, "state"), message)


def _always_moved(document: Document, link: object) -> bool:
    """Whether some lever puts the link into a state in every position; one that can't be understood may."""
    known = {row.get("name") for _, row in rows(document, "link") if isinstance(row.get("name"), str)}
    for lever in table_of(document, "levers").values():
        positions = lever.get("positions") if isinstance(lever, dict) else None
        if not isinstance(positions, dict) or not all(isinstance(p, dict) for p in positions.values()):
            return True
        if positions and all(link in states or not known.issuperset(states) for states in positions.values()):
            return True
    return False


def _check_levers(document: Document, links: dict[str, int], complaints: Complaints) -> None:
    good = not complaints
    for name, lever in table_of(document, "levers").items():
        positions = table_of(document, "levers", name, "positions")
        if isinstance(lever, dict) and lever.get("positions") == {}:
            complaints.add(
                WrongValue, ("levers", name, "positions"), "it is empty. Write a line for each position"
            )
        normal = lever.get("normal") if isinstance(lever, dict) else None
        if isinstance(normal, str) and positions and normal not in positions:
            complaints.named("position", normal, ("levers", name, "normal"), positions)
        for position, states in positions.items():
            for link, state in states.items() if isinstance(states, dict) else ():
                path = ("levers", name, "positions", position, link)
                if link in links and isinstance(state, str):
                    _check_state(document, path, links[link], state, complaints)
    if good and not complaints:
        levers = {name: lever_of(lever) for name, lever in table_of(document, "levers").items()}
        for clash in clashes(levers, {name: lever.normal for name, lever in levers.items()}):
            complaints.add(Disagreement, clash.second, clash.message, clash.first)


#: Kinds of link that have no driven part, or whose driven part can't be told from the driving one.
_UNDRIVEN = ("differential", "brake")

_WITH_TEETH = ("gear pair", "bevel gears", "worm gear")


def _check_imperfections(document: Document, key: str, links: dict[str, int], complaints: Complaints) -> None:
    """Whether the link of each can have such an error, and its amount is told by what the driven part does."""
    for index, row in rows(document, key):
        link, path = row.get("link"), (key, index, "link")
        if row.get("kind") == "gear runout" and "place" in row and "link" not in row:
            message = "\"link\" is missing: say in which bracket the gear was mounted at this place"
            complaints.add(Missing, (key, index, "place"), message)
        if not isinstance(link, str) or link not in links or (kind := _kind(document, links[link])) is None:
            continue
        if kind in _UNDRIVEN:
            message = f"{quoted(link)} is a link of the kind {quoted(kind)}, which has no driving and driven part"
            complaints.add(WrongValue, path, message)
        elif row.get("kind") == "tooth by tooth" and kind not in _WITH_TEETH:
            message = f"{quoted(link)} is a link of the kind {quoted(kind)}. It must be a {either(_WITH_TEETH)}"
            complaints.add(WrongValue, path, message)
        elif row.get("kind") in ("worm float", "worm end play"):
            if kind != "worm gear":
                message = f"{quoted(link)} is a link of the kind {quoted(kind)}. It must be a worm gear"
                complaints.add(WrongValue, path, message)
            elif not {"module", "diametral_pitch"} & {*row, *document.get("link", links[link])}:
                message = '"module" is missing, here and of the link itself. Give the module along the worm, in mm'
                complaints.add(Missing, (key, index, "module"), message)
        elif row.get("kind") == "gear runout":
            _check_place(document, (key, index), kind, complaints)
        elif row.get("kind") == "pitch" and kind not in ("screw", "rack"):
            message = f"{quoted(link)} is a link of the kind {quoted(kind)}. It must be a screw or rack"
            complaints.add(WrongValue, path, message)
        elif kind in ("screw", "rack") and "angle" in row:
            message = f"the driven part of {quoted(link)} is a slide ({{also}}). Give a length"
            complaints.add(Disagreement, (key, index, "angle"), message, ("link", links[link]))
        elif kind not in ("screw", "rack") and "length" in row:
            message = f"the driven part of {quoted(link)} is a shaft ({{also}}). Give an angle"
            complaints.add(Disagreement, (key, index, "length"), message, ("link", links[link]))
        if kind in ("screw", "rack") and row.get("turn_of") == "driven":
            message = f"the driven part of {quoted(link)} is a slide, which has no turns. It must be \"driving\""
            complaints.add(WrongValue, (key, index, "turn_of"), message)



def _check_place(document: Document, path: Path_, kind: str, complaints: Complaints) -> None:
    """Whether a change gear can have been mounted where a row says it was."""
    row = document.get(*path)
    link = row["link"]
    if kind != "change gears":
        message = f"{quoted(link)} is a link of the kind {quoted(kind)}. It must be one with change gears"
        complaints.add(WrongValue, (*path, "link"), message)
        return
    names = [one.get("name") for _, one in rows(document, "link")]
    bracket = document.get("link", names.index(link))
    pairs, idlers = bracket.get("pairs", (1, 2)), bracket.get("idlers", (0, 1))
    try:
        most = 2 * max(pairs if isinstance(pairs, list | tuple) else [pairs])
        most += max(idlers if isinstance(idlers, list | tuple) else [idlers])
    except (TypeError, ValueError):
        return  # what is wrong with these is told of the link
    place = row.get("place")
    if isinstance(place, int) and place > most:
        complaints.add(WrongValue, (*path, "place"), f"{quoted(link)} takes at most {most} gears, idlers and all")


def _check_state(document: Document, path: Path_, index: int, state: str, complaints: Complaints) -> None:
    kind, ratios = _kind(document, index), document.get("link", index, "ratios")
    if kind is None:
        return
    states: tuple[str, ...] | None = KINDS[kind].states or None
    if kind == "selector":
        states = tuple(ratios) if isinstance(ratios, dict) else None
    elif states is None:
        message = (
            f"{quoted(path[-1])} is a link of the kind {quoted(kind)}, which has no states to be put into"
        )
        complaints.add(WrongValue, path, message)
    if states is not None and state not in states:
        complaints.named("state", state, path, states, f" of the {kind} {quoted(path[-1])}")


def _check_template(document: Document, index: int, row: dict[str, Any], complaints: Complaints) -> None:
    """A template leads the radial slide while the axial one moves; no other pair of slides is led so."""
    for key, end in (("from", "axial"), ("to", "radial")):
        part = document.get("ends", end, "part")
        if isinstance(row.get(key), str) and row[key] != part:
            there = f"that is {quoted(part)}" if isinstance(part, str) else "this machine has none under [ends]"
            goes = "a template goes from the axial slide to the radial one"
            message = f"{goes}, and {quoted(row[key])} isn't the {end} end: {there}"
            complaints.add(WrongValue, ("link", index, key), message)
