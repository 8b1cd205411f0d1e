"""The keys of a job file's work, mate and hobs."""

from __future__ import annotations

from fractions import Fraction

from handlead.kinematics.work.requirement import WORK_KINDS
from handlead.machines.keys.keys import HAND, HELIX, MODULE, PITCH, PRESSURE, SIZE, TEETH, UNITS
from handlead.machines.tables.tables import Key, OneOf, Rows, Table
from handlead.machines.tables.values import Angle, Flag, Length, Listing, Number, Text, Whole

from .halves_keys import HALVES, MEETS
from .toothed_keys import BECAUSE, CLEANED, FLANKS

_SIZE_OF_TOOTH = (
    Key("module", MODULE, "Module normal to the tooth, in mm."),
    Key("diametral_pitch", PITCH, "Diametral pitch normal to the tooth, in 1/in."),
    Key(
        "pitch",
        Length(Fraction(1, 100), 3000),
        "Circular pitch normal to the tooth, as for chains and splines; the module is this over π, to forty decimals.",
    ),
)
_NORMAL_SIZES = tuple(key.name for key in _SIZE_OF_TOOTH)
#: The keys of which a drawing gives one: the size of its teeth.
TOOTH_SIZES = (*_NORMAL_SIZES, "transverse_module", "transverse_diametral_pitch")

#: What a worm wheel's blank may be.
BLANKS = ("throated", "plain")

_WORK_KEYS = (
    Key("kind", Text(WORK_KINDS), "What is to be cut.", True),
    Key("teeth", TEETH, "Number of teeth.", True),
    *_SIZE_OF_TOOTH,
    Key("transverse_module", MODULE, "Module in the plane across the axis, in mm."),
    Key("transverse_diametral_pitch", PITCH, "Diametral pitch in the plane across the axis, in 1/in."),
    Key("pressure_angle", PRESSURE, "Pressure angle normal to the tooth.", default="20"),
    Key("transverse_pressure_angle", PRESSURE, "Pressure angle in the plane across the axis."),
    Key("helix_angle", HELIX, "Helix angle at the reference cylinder, from the axis."),
    Key("lead", SIZE, "Travel along the axis in which a tooth goes once round, instead of the helix angle."),
    Key("hand", HAND, "Hand of the helix: right or left."),
    Key("face_width", SIZE, "Width of the face."),
    Key("quality", Whole(1, 11), "Flank tolerance class of ISO 1328-1.", default="8"),
    Key("profile_shift", Number(-3, 3), "Profile shift, in modules.", default="0"),
    Key(
        "outside_diameter",
        SIZE,
        "Outside diameter of the blank; of a worm wheel, at the bottom of its throat.",
        default="from the size of the teeth",
    ),
    Key(
        "thinning",
        Length(0),
        "Backlash allowance: by how much a tooth is to be thinner, normal to it at the reference cylinder.",
        default="0",
    ),
    Key(
        "crown",
        Length(-5, 5),
        "By how much the flanks are to fall back at either end of the face, as on an inspector's chart; cut by a "
        "template.",
        default="0",
    ),
    Key(
        "taper",
        Length(-5, 5),
        "By how much a tooth is to be thicker at the upper end of the face than at the lower, normal to it at the "
        "reference cylinder; cut by a template, or by two slides geared together.",
        default="0",
    ),
    Key("bore", SIZE, "Diameter of the bore, or of what a rim is hollowed out to, so that the rim can be judged."),
    Key("roller_diameter", SIZE, "Greatest diameter of the chain's rollers, for the depth of a sprocket."),
    Key(
        "blank",
        Text(BLANKS),
        "What a worm wheel's blank is turned to: with the hollow, or a plain cylinder of the outside diameter.",
        default="throated",
    ),
    Key(
        "key_width",
        SIZE,
        "Width of the keys of a straight-sided spline; with it go minor_diameter and outside_diameter, and the module "
        "may be left out: it is that of the hob, which rolls on the outside unless a module says on what circle.",
    ),
    Key("minor_diameter", SIZE, "Diameter at the bottom between the keys of a straight-sided spline."),
    Key(
        "form_diameter",
        SIZE,
        "Diameter down to which the sides of the keys must be straight: a hob leaves fillets at their foot.",
        default="as the hob leaves it, and said",
    ),
    Key(
        "throat_radius",
        SIZE,
        "Radius of the hollow round a worm wheel.",
        default="the centre distance less half the outside diameter",
    ),
    Key(
        "rim_diameter",
        SIZE,
        "Diameter over the rim of a throated worm wheel.",
        default="over the throat by 6 / (starts + 2) axial modules",
    ),
)
_WORK_CHOICES = (
    OneOf(TOOTH_SIZES, True, unless=("key_width", "minor_diameter")),
    OneOf(("helix_angle", "lead")),
    OneOf(("pressure_angle", "transverse_pressure_angle")),
)

WORK = Table("work", "The drawing: what is to be cut.", _WORK_KEYS, _WORK_CHOICES)

MATE = Table(
    "mate",
    "The other member of the pair; what it leaves out is as in [work], but for the hand, which is the other one.",
    (
        *(Key(key.name, key.value, key.meaning, False, "as in [work]") for key in _WORK_KEYS),
        Key("centre_distance", SIZE, "From shaft to shaft, where they are parallel.", default="from the shifts"),
        Key(
            "least_backlash",
            Length(0),
            "Least backlash that the drawing asks for, normal to the flanks.",
            default="common practice, and said",
        ),
        Key("crossing_angle", Angle(0, 90), "Angle at which the shafts cross, of a crossed helical pair.", default="0"),
    ),
    (*(OneOf(choice.keys) for choice in _WORK_CHOICES), OneOf(("centre_distance", "crossing_angle"))),
)

_HOB_KEYS = (
        *_SIZE_OF_TOOTH,
        Key("starts", Whole(1, 20), "Number of starts.", default="1"),
        Key("hand", HAND, "Hand of the hob: right or left.", default="right"),
        Key("lead_angle", Angle(0, 60), "Lead angle, from the plane across its axis.", default="from the diameter"),
        Key("diameter", SIZE, "Reference diameter."),
        Key("outside_diameter", SIZE, "Diameter over the tips."),
        Key("gashes", Whole(1, 100), "Number of gashes."),
        Key("pressure_angle", PRESSURE, "Pressure angle normal to the tooth.", default="as the work's"),
        Key("rack", Text(("A", "B", "C", "D")), "Basic rack of ISO 53.", default="A"),
        Key("addendum", Number(0, 5, above=True), "Tip of the hob from its datum line, in modules; else the rack's."),
        Key("dedendum", Number(0, 5, above=True), "Root of the hob from its datum line, in modules; else the rack's."),
        Key("tip_radius", Number(0, 2), "Radius at the tips of the hob, in modules; else the rack's."),
        Key("length", SIZE, "Length of its threads, from the first full tooth to the last."),
        Key(
            "ground_to",
            SIZE,
            "Diameter over the tips as it is now, sharpened; outside_diameter is then what it was new, and the other "
            "figures are of the new hob.",
        ),
        Key(
            "gash_index",
            Listing(Length(-10, 10), 1, 100),
            "How far each gash's cutting face stands behind where even division has it, along the reference circle, in "
            "the order in which they cut; ahead is negative. One entry for each gash.",
            default="none stands off",
        ),
        Key(
            "relief_angle",
            Angle(0, 45),
            "Angle at which the tips fall away behind the cutting faces, for what an uneven gash leaves.",
            default="10",
        ),
        Key(
            "thread_error",
            Length(-1, 1),
            "By how much the hob's thread goes too far along its axis in a turn; not far enough is negative.",
            default="0",
        ),
)  # fmt: skip

DOUBLE_HELICAL = Table(
    "double_helical",
    "A double helical gear, two halves cut on one blank; [work] is the half that this set-up cuts, its face_width that "
    "of one half.",
    (
        Key("groove", SIZE, "Width of the groove between the halves.", True),
        Key("groove_diameter", SIZE, "Diameter to which the groove is turned.", default="not looked at"),
        Key("half", Text(tuple(HALVES)), "Where this half lies on the machine.", default="fed into the groove"),
        Key("second", Flag(), "Whether the other half is cut already.", default="false"),
        Key(
            "turned_over",
            Flag(),
            "Whether the work is turned end for end before the second half, so that both are cut in the same place.",
            default="true",
        ),
        Key("meets", Text(MEETS), "How the halves meet at the apex.", default=MEETS[0]),
        Key(
            "set_within",
            Length(0),
            "How truly the second half is set by its line, along the reference circle.",
            default="0.05 mm",
        ),
    ),
)

TOOTHED = Table(
    "toothed",
    "Work that has teeth on it already, into whose spaces the hob must be set.",
    (
        Key("because", Text(BECAUSE), "Why: worn and cut again, gashed before, or the gears were out since.", True),
        Key(
            "stock",
            Length(0),
            "What is left to cut off each flank where it isn't worn, normal to the flank.",
            default="from the last [[measured]]",
        ),
        Key("worn", Length(0), "How deep a flank is worn, at the worst place."),
        Key("worn_flank", Text(FLANKS), "Which way that flank looks, seen facing the table."),
        Key("clean", Text(CLEANED), "Which flanks must come clean all over.", default=CLEANED[0]),
        Key("lead", SIZE, "Lead of the teeth there, measured.", default="the drawing's"),
        Key(
            "set_within",
            Length(0),
            "How truly the hob is set into a space, along the reference circle.",
            default="0.05 mm",
        ),
    ),
)

HOB = Table(
    "hob",
    "The hob, as its maker marked it; or by its name in the rack of hobs beside the job, hobs.toml.",
    (
        Key("name", Text(), "Its name in the rack; keys given here as well go before the rack's."),
        *_HOB_KEYS,
    ),
    (OneOf(_NORMAL_SIZES),),
)

RACK_HOB = Table(
    "hob of a rack",
    "A hob of the rack.",
    (
        Key("name", Text(), "What it is called on its shelf.", True),
        *_HOB_KEYS,
        Key("material", Text(), "What it is made of, as in the table of cutting data."),
    ),
    (OneOf(_NORMAL_SIZES, True),),
)

HOBS = Table(
    "rack of hobs",
    "The hobs that there are: a file hobs.toml beside the jobs that take theirs from it.",
    (
        Key("format", Text(("hobs/1",)), "What the file is.", True, advice='Write format = "hobs/1"'),
        UNITS,
        Key("hob", Rows({"": RACK_HOB}, "hob"), RACK_HOB.meaning, True),
    ),
)
