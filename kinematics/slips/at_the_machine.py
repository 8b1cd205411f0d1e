"""Slips at the machine: gears, idlers, levers, hob, head, and what is done between two cuts or beside the train.

Each function lists every place at which its kind can happen on this machine with this set-up.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import combinations

from handlead.kinematics.frame.words import swivel_words
from handlead.kinematics.links.links import Brake, Differential
from handlead.kinematics.links.mounted import ChangeGears, Dialled, Mounted
from handlead.kinematics.train.setup import idlers_counted
from handlead.kinematics.transfer.response import Running
from handlead.kinematics.transfer.roles import Role

from . import entered
from .standing import ANY_IDLER, Beside, Changes, is_pitch, module_words
from .study import Circumstances, Numbers, Places, Slip, Study


def _geared(study: Study) -> list[tuple[str, Mounted]]:
    """The brackets that hold gears, with what is in them; a ratio that is entered has slips of its own."""
    return [(name, mounted) for name, mounted in study.base.change.items() if not isinstance(mounted, Dialled)]


def _idler_out(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for bracket, mounted in _geared(study):
        if idlers := mounted.idlers:
            detail = f"{idlers_counted(len(idlers) - 1)} where there should be {len(idlers)}"
            yield Slip(bracket, detail, {("idlers", bracket): idlers[:-1]})


def _idler_in(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for bracket, mounted in _geared(study):
        idlers = mounted.idlers
        detail = f"{idlers_counted(len(idlers) + 1)} where there should be {len(idlers) or 'none'}"
        extra = _idler_for(study, bracket, idlers)
        if extra is not None:
            yield Slip(bracket, detail, {("idlers", bracket): (*idlers, extra)})


def _idler_for(study: Study, bracket: str, idlers: tuple[int, ...]) -> int | None:
    """One more idler that is at hand and fits the bracket; None where none does."""
    unlisted = not study.bench.owned.get(bracket)
    spare = [ANY_IDLER] if unlisted else study.bench.spare(bracket, study.base)
    for teeth in sorted(spare, key=lambda teeth: (abs(teeth - ANY_IDLER), teeth)):
        if study.bench.can_hold(bracket, study.base.changed({("idlers", bracket): (*idlers, teeth)})):
            return teeth
    return None


def _gear_replaced(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for bracket, mounted in _geared(study):
        spare = sorted(study.bench.spare(bracket, study.base))
        for index, teeth in enumerate(mounted.gears):
            beside = _beside(teeth, spare)
            for other in spare:
                if other == teeth:
                    continue
                now = mounted.with_gear(index, other)
                detail = f"{other} stands where {teeth} should: {now.pairs_text}"
                alike = other in beside or _looks_like(teeth, other)
                yield Slip(bracket, detail, {("gears", bracket): now.gears}, numbers["likely"] if alike else 1)


def _beside(teeth: int, spare: Sequence[int]) -> set[int]:
    """The gears that lie next to this one in a drawer kept in order."""
    below, above = [z for z in spare if z < teeth], [z for z in spare if z > teeth]
    return {*below[-1:], *above[:1]}


def _looks_like(teeth: int, other: int) -> bool:
    """Whether the two numbers are mistaken for each other: figures exchanged, or 3/8, 6/9, 1/7, 0/6."""
    ours, theirs = str(teeth), str(other)
    if len(ours) != len(theirs):
        return False
    differing = [frozenset(pair) for pair in zip(ours, theirs, strict=True) if pair[0] != pair[1]]
    return sorted(ours) == sorted(theirs) or (
        len(differing) == 1
        and differing[0] in (frozenset("38"), frozenset("69"), frozenset("17"), frozenset("06"))
    )


def _gears_exchanged(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for bracket, mounted in _geared(study):
        gears = mounted.gears
        for one, other in combinations(range(len(gears)), 2):
            now = mounted.exchanged(one, other)
            if now.ratio != mounted.ratio and now != mounted.turned_round():
                detail = f"{gears[one]} and {gears[other]} are exchanged: {now.pairs_text}"
                yield Slip(bracket, detail, {("gears", bracket): now.gears})


def _gears_exchanged_between(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for (one, ours), (other, theirs) in combinations(_geared(study), 2):
        if not _share(study.bench, one, other):
            continue
        for place, teeth in enumerate(ours.gears):
            for spot, found in enumerate(theirs.gears):
                if teeth != found:
                    yield Slip(
                        f"{one} and {other}",
                        f"{teeth} of {one} and {found} of {other} are exchanged",
                        {
                            ("gears", one): ours.with_gear(place, found).gears,
                            ("gears", other): theirs.with_gear(spot, teeth).gears,
                        },
                    )


def _share(bench: Circumstances, one: str, other: str) -> bool:
    """Whether a gear of one bracket fits the other, as far as the drawers tell."""
    ours, theirs = set(bench.owned.get(one, ())), set(bench.owned.get(other, ()))
    return bool(ours & theirs) or not (ours and theirs)


def _sets_exchanged(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for (one, ours), (other, theirs) in combinations(_geared(study), 2):
        if _share(study.bench, one, other) and ours.gears != theirs.gears:
            yield Slip(
                f"{one} and {other}",
                f"{theirs.pairs_text} in {one}, {ours.pairs_text} in {other}",
                {
                    ("gears", one): theirs.gears, ("gears", other): ours.gears,
                    ("idlers", one): theirs.idlers, ("idlers", other): ours.idlers,
                },
            )  # fmt: skip


def _turned(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for bracket, mounted in _geared(study):
        if mounted.size != 1:
            then = mounted.turned_round()
            detail = f"{then.pairs_text} in place of {mounted.pairs_text}"
            yield Slip(bracket, detail, {("gears", bracket): then.gears})


def _gear_off(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for bracket, mounted in _geared(study):
        for index, teeth in enumerate(mounted.gears):
            for by in numbers["by"]:
                true = teeth + int(by)
                if true > 1:
                    detail = f"the gear stamped {teeth} has {true} teeth"
                    yield Slip(
                        bracket, detail,
                        {("gears", bracket): mounted.with_gear(index, true).gears, ("stamps", bracket): mounted.gears},
                    )  # fmt: skip


def _emptied(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for bracket, mounted in study.base.change.items():
        detail = f"{mounted.pairs_text} isn't mounted"
        yield Slip(bracket, detail, {("gears", bracket): (), ("idlers", bracket): ()})


def _lever(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for place in _positions(study):
        if not _reverses_feed(study, place):
            yield place


def _feed_reversed(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for place in _positions(study):
        if _reverses_feed(study, place):
            yield place


def _positions(study: Study) -> Iterator[Slip]:
    for name, positions in study.bench.levers.items():
        levers = study.base.setup.levers
        now = levers[name]
        for position in positions:
            if position != now and study.bench.states({**levers, name: position}) is not None:
                yield Slip(name, f"it stands at {position}, not at {now}", {("lever", name): position})


def _reverses_feed(study: Study, place: Slip) -> bool:
    now, then = study.running, study.bench.running(study.base.changed(place.changes))
    if now is None or then is None or now.rates is None or then.rates is None:
        return False
    return bool(now.rates.axial) and _feed(then) == -_feed(now) and now.hob_way == then.hob_way


def _feed(running: Running) -> Fraction:
    rates = running.rates
    assert rates is not None
    return rates.axial / abs(rates.table) if rates.table else Fraction(0)


def _feed_changed(study: Study, numbers: Numbers) -> Iterator[Slip]:
    bracket = study.filled(Role.FEED)
    mounted = study.base.change.get(bracket or "")
    if bracket is None or mounted is None or not study.feed_tells:
        return
    for times in numbers["times"]:
        changes = study.mounting({bracket: mounted.ratio * times}, [bracket])
        if changes is not None:
            gears = Mounted(changes["gears", bracket]).pairs_text
            yield Slip(bracket, f"{gears}, a feed {_times(times)} of what it should be", changes)


def _times(times: Fraction) -> str:
    return f"{float(times):.3g} times" if times > 1 else str(times)


def _hob_hand(study: Study, numbers: Numbers) -> Iterator[Slip]:
    other = study.base.hob.hand.other
    yield Slip("hob", f"a {other.word}-hand hob is on the arbor", {("hob", "hand"): other})


def _hob_starts(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for starts in numbers["starts"]:
        if int(starts) != study.base.hob.starts:
            detail = f"a hob of {int(starts)} start{'' if starts == 1 else 's'} is on the arbor"
            # The more starts, the fewer such hobs a rack holds.
            yield Slip("hob", detail, {("hob", "starts"): int(starts)}, 1 / float(starts) ** 2)


def _hob_module(study: Study, numbers: Numbers) -> Iterator[Slip]:
    module = study.base.hob.module_n
    by_pitch = is_pitch(module)
    for size in study.bench.modules:
        wide = max(size / module, module / size)
        same = is_pitch(size) == by_pitch
        if size != module and wide <= numbers["within"] and same == (numbers["system"] == "same"):
            detail = f"a hob of {module_words(size)} is on the arbor"
            # The nearer the size, the likelier the mistake.
            yield Slip("hob", detail, {("hob", "module"): size}, 1 / (1 + 10 * float(wide - 1)))


def _without_lead_angle(study: Study, numbers: Numbers) -> Iterator[Slip]:
    yield from _swivelled(study, -_lead_angle(study))


def _with_lead_angle_reversed(study: Study, numbers: Numbers) -> Iterator[Slip]:
    yield from _swivelled(study, -2 * _lead_angle(study))


def _lead_angle(study: Study) -> Fraction:
    """The hob's lead angle, signed as it enters the swivel."""
    return Fraction(f"{study.base.hob.hand.value * (study.base.hob.gamma_deg or 0):.12f}")


def _swivel_other_way(study: Study, numbers: Numbers) -> Iterator[Slip]:
    yield from _swivelled(study, -2 * study.base.swivel_deg)


def _swivel_off(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for by in numbers["by"]:
        for sign in (1, -1):
            yield from _swivelled(study, sign * by, 1 / (1 + float(by)))


def _swivelled(study: Study, by: Fraction, likelihood: float = 1) -> Iterator[Slip]:
    now = study.base.swivel_deg + by
    if by and abs(now) < 90:
        yield Slip("swivel", f"it stands at {swivel_words(float(now))}", {("swivel",): now}, likelihood)


def _between_cuts(study: Study, numbers: Numbers) -> Iterator[Slip]:
    if numbers.get("only_where") and not study.feed_tells:
        return
    done = str(numbers["done"])
    yield Slip("between two cuts", done, {("between cuts",): done})


def _drive_reversed(study: Study, numbers: Numbers) -> Iterator[Slip]:
    yield Slip("drive", "it turns the other way", {("drive runs",): -1})


def _hob_reversed(study: Study, numbers: Numbers) -> Iterator[Slip]:
    yield Slip("hob", "its cutting faces look the other way", {("hob stands",): -1})


def _parted(study: Study, numbers: Numbers) -> Iterator[Slip]:
    """Each link but change gears that could pass nothing, where that alters anything."""
    for link in study.bench.train.links:
        if isinstance(link, ChangeGears | Differential | Brake):
            continue
        changes: Changes = {("parted",): link.name}
        if study.bench.running(study.base.changed(changes)) != study.running:
            yield Slip(link.name, "it passes nothing", changes)


def _slips(study: Study, numbers: Numbers) -> Iterator[Slip]:
    yield Slip("", "no two turns of the table are alike", {("slips",): True})


def _miscounted(study: Study, numbers: Numbers) -> Iterator[Slip]:
    yield Slip("blank", "nothing is wrong but the count", {("miscounted",): int(numbers["most"])})


def _beside_train(study: Study, numbers: Numbers) -> Iterator[Slip]:
    looks_at, found = str(numbers["looks_at"]), str(numbers["found"])
    yield Slip("", found, {("beside",): Beside(looks_at, found, frozenset(map(str, numbers["shows"])))})


#: What goes wrong at the machine, by its name in the table of faults.
AT_THE_MACHINE: Mapping[str, Places] = {
    "idler out": _idler_out,
    "idler in": _idler_in,
    "gear replaced": _gear_replaced,
    "gears exchanged": _gears_exchanged,
    "gears exchanged between": _gears_exchanged_between,
    "sets exchanged": _sets_exchanged,
    "turned end for end": _turned,
    "gear off": _gear_off,
    "bracket emptied": _emptied,
    "entered with the other sign": entered.wrong_sign,
    "entered upside down": entered.upside_down,
    "entered wrongly": entered.wrong_figure,
    "lever elsewhere": _lever,
    "feed reversed": _feed_reversed,
    "feed changed": _feed_changed,
    "hob hand": _hob_hand,
    "hob starts": _hob_starts,
    "hob module": _hob_module,
    "swivel without lead angle": _without_lead_angle,
    "swivel with lead angle reversed": _with_lead_angle_reversed,
    "swivel other way": _swivel_other_way,
    "swivel off": _swivel_off,
    "between cuts": _between_cuts,
    "drive reversed": _drive_reversed,
    "hob reversed": _hob_reversed,
    "link parted": _parted,
    "slips": _slips,
    "miscounted": _miscounted,
    "beside": _beside_train,
}
