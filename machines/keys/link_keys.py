"""The keys of a machine file's links and of the brackets on them."""

from __future__ import annotations

from typing import Any

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.bracket_keys import BRACKET_KEYS
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.machines.tables.tables import Key, OneOf, Table, TableOf
from handlead.machines.tables.values import Flag, Length, Listing, Name, Number, Text, Value, Whole

from .keys import MODULE, MOST_TEETH, PITCH, SENSE, SIZE, TEETH, TWO_TEETH

#: Measures of a bracket that may be 0.
_MAY_BE_ZERO = frozenset({"clearance", "gap", "slack", "studs", "addendum"})


def _bracket_value(key: str, unit: str) -> Value:
    low = 0 if key in _MAY_BE_ZERO else None
    if key == "module":
        return MODULE
    if key == "pivot":
        return Text(("driving", "driven"))
    if unit == "mm":
        return Length(0, above=low is None)
    if key in ("clearance", "addendum"):
        return Number(0, 1000)
    return Whole(0 if low == 0 else 1, MOST_TEETH)


def _bracket(values: dict[str, Any]) -> dict[str, Any]:
    """The keys as `handlead.kinematics.bracket` takes them. Raises `ValueError` for what no bracket can be."""
    keys = {key: value for key, value in values.items() if key != "diametral_pitch"}
    if "diametral_pitch" in values:
        keys["module"] = MM_PER_INCH / values["diametral_pitch"]
    try:
        Bracket.of(keys)
    except ValueError as fault:
        raise ValueError(str(fault).removeprefix("bracket: ")) from None
    return keys


BRACKET = Table(
    "link.bracket",
    "What can physically be mounted in a change-gear bracket; each key is optional, and without any there is no limit.",
    (
        *(
            Key(key, _bracket_value(key, unit), f"{meaning[0].upper()}{meaning[1:]}.")
            for key, (meaning, unit) in BRACKET_KEYS.items()
        ),
        Key(
            "diametral_pitch", PITCH, "Diametral pitch of the change gears, in 1/in, instead of the module."
        ),
    ),
    (OneOf(("module", "diametral_pitch")),),
    _bracket,
)

_SENSE_ADVICE = (
    'Turn {from} its positive way by hand: if {to} goes its own positive way, write sense = "same", '
    'else sense = "opposite"'
)


def _link(
    kind: str,
    meaning: str,
    *keys: Key,
    ports: tuple[str, str] | None = ("shaft", "shaft"),
    one_of: tuple[OneOf, ...] = (),
) -> Table:
    between = () if ports is None else (
        Key("from", Name(of=ports[0]), "The part at the driving side.", True),
        Key("to", Name(of=ports[1]), "The part at the driven side.", True),
    )  # fmt: skip
    return Table(
        "link",
        meaning,
        (
            Key("name", Text(), "What the link is called on the machine and in the reports.", True),
            Key("kind", Text(), f'"{kind}".', True),
            *between,
            *keys,
        ),
        one_of,
    )


def _sense(required: bool = True, default: str = "") -> Key:
    return Key(
        "sense",
        SENSE,
        "Whether the positives of both parts go together (same) or against each other (opposite).",
        required,
        default,
        _SENSE_ADVICE,
    )


def _state(default: str, *states: str) -> Key:
    return Key(
        "state",
        Text(states),
        "The state in which it is where no lever puts it into another.",
        default=default,
    )


_PULLEYS = (
    Key("teeth", TWO_TEETH, "Teeth of both, the driving one first."),
    Key("diameters", Listing(SIZE, 2, 2), "Diameters of both, the driving one first."),
    Key("crossed", Flag(), "Whether it is crossed, which turns the sense over.", default="false"),
)

LINK: dict[str, Table] = {
    "gear pair": _link(
        "gear pair",
        "Two gears in mesh. External ones turn against each other, an internal pair together, unless `sense` says so.",
        Key("teeth", TWO_TEETH, "Teeth of both gears, the driving one first.", True),
        Key("internal", Flag(), "Whether one is a ring with teeth inside.", default="false"),
        _sense(False, "opposite, or same for an internal pair"),
    ),
    "bevel gears": _link(
        "bevel gears",
        "Two bevel gears; their sense depends on how they face.",
        Key("teeth", TWO_TEETH, "Teeth of both gears, the driving one first.", True),
        _sense(),
    ),
    "worm gear": _link(
        "worm gear",
        "A worm (`from`) and its wheel (`to`), which never drives it.",
        Key("starts", Whole(1, 100), "Starts of the worm.", True),
        Key("teeth", TEETH, "Teeth of the wheel.", True),
        _sense(),
        Key("module", MODULE, "Module along the worm, in mm: with it `inspect` tells an error in lengths at the worm."),
        Key("diametral_pitch", PITCH, "The same in 1/in, instead of the module."),
        one_of=(OneOf(("module", "diametral_pitch")),),
    ),
    "belt": _link(
        "belt", "A belt between two pulleys.", *_PULLEYS, one_of=(OneOf(("teeth", "diameters"), True),)
    ),
    "chain": _link(
        "chain", "A chain between two sprockets.", *_PULLEYS, one_of=(OneOf(("teeth", "diameters"), True),)
    ),
    "change gears": _link(
        "change gears",
        "A bracket for change gears, empty until a job mounts some.",
        Key(
            "pairs",
            Listing(Whole(1, 10), 1, 10, single=True),
            "The numbers of pairs that it takes.",
            default="[1, 2]",
        ),
        Key(
            "idlers",
            Listing(Whole(0, 10), 1, 11, single=True),
            "The numbers of idlers that it takes.",
            default="[0, 1]",
        ),
        Key("bracket", BRACKET, "What can physically be mounted.", default="no limit"),
    ),
    "set ratio": _link(
        "set ratio",
        "A ratio that is entered instead of mounted, as on machines that were rebuilt: any fraction up to a size.",
        Key("largest", Whole(1, 10**12), "The greatest numerator and denominator that can be entered.", True),
    ),
    "differential": _link(
        "differential",
        "An epicyclic train of two suns p, q and a carrier c: q − c = sun_ratio·(p − c).",
        Key("suns", Listing(Name(of="shaft"), 2, 2), "The suns p and q.", True),
        Key("carrier", Name(of="shaft"), "The carrier c.", True),
        Key(
            "sun_ratio",
            Number(),
            "Rate of q over rate of p with the carrier held.",
            default="-1, the plain bevel kind",
        ),
        ports=None,
    ),
    "clutch": _link(
        "clutch",
        "In, both shafts turn as one; out, nothing passes.",
        _state("in", "in", "out"),
    ),
    "brake": _link(
        "brake",
        "On, the part stands still; off, it is free.",
        Key("shaft", Name(of="part"), "The part that it holds.", True),
        _state("on", "on", "off"),
        ports=None,
    ),
    "selector": _link(
        "selector",
        "A reverser or range box: its ratio goes by its state.",
        Key(
            "ratios",
            TableOf(Number(), "ratios"),
            "For each state the rate of `to` over that of `from`; 0 passes nothing.",
            True,
            advice="Write the ratio of each state: { high = 1, low = \"1/2\", neutral = 0 }",
        ),
        _state(""),
    ),
    "template": _link(
        "template",
        "A template, or a cam, along which one slide is led while another moves: in, it leads; out, it doesn't.",
        Key(
            "points",
            Listing(Listing(Length(), 2, 2), 2, 200),
            "Points of it, in their order: where the slide `from` stands, 0 with the hob at mid-face, and "
            "how far the slide `to` is then displaced, each by its part's own positive.",
            True,
            advice="Write points = [[-40, 0.02], [0, 0], [40, 0.02]]",
        ),
        Key(
            "law",
            Text(("straight", "smooth")),
            "What lies between the points: straight lines, or a smooth curve, of three points the parabola.",
            default="straight",
        ),
        _state("in", "in", "out"),
        ports=("slide", "slide"),
    ),
    "screw": _link(
        "screw",
        "A screw that moves a slide.",
        Key("lead", SIZE, "Travel of the slide for a turn of the screw, its starts counted in.", True),
        _sense(),
        ports=("shaft", "slide"),
    ),
    "rack": _link(
        "rack",
        "A pinion that moves a slide by its rack.",
        Key("teeth", TEETH, "Teeth of the pinion."),
        Key("module", MODULE, "Module of the pinion, in mm; its travel then holds π to forty decimals."),
        Key("diametral_pitch", PITCH, "Diametral pitch of the pinion, in 1/in, instead of the module."),
        Key("travel", SIZE, "Travel for a turn of the pinion, instead of teeth and module; it stays exact."),
        _sense(),
        ports=("shaft", "slide"),
        one_of=(OneOf(("travel", "module", "diametral_pitch"), True),),
    ),
}  # fmt: skip
