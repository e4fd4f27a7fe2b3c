"""What the history must tell: the stories of single items, and what upkeep finds now and then.

Days are counted from the chosen day, which is 0.
"""

# ruff: noqa: INP001

# Stories on use: since its task was done on that day, this much went onto the meter until now.
METERS = {
    "20110-1": (-128, "calibration", 4812),
    "20105-6": (-214, "calibration", 5043),
    "20124-9": (-170, "calibration", 4905),
    "20137-0": (-331, "oil change", 14790),
    "20144-0": (-345, "oil change", 15120),
    "30107-1": (-208, "calibration", 5021),
    "30111-9": (-150, "calibration", 4718),
}
# Stories on the calendar: the task was last done on that day and not again.
LAST_DONE = {
    ("20114-4", "calibration"): -379,
    ("20208-1", "calibration"): -372,
    ("20171-4", "proof test"): -371,
    ("20191-7", "inspection"): -196,
    ("20152-0", "inspection"): -190,
    ("20129-0", "inspection"): -187,
    ("20128-1", "calibration"): -361,
    ("20210-4", "calibration"): -362,
    ("20146-6", "relief valve check"): -360,
    ("20160-0", "inspection"): -178,
    ("20196-8", "inspection"): -178,
    ("20136-1", "inspection"): -177,
    ("30113-5", "calibration"): -375,
    ("30152-4", "proof test"): -369,
    ("30186-2", "calibration"): -371,
    ("30178-2", "inspection"): -193,
    ("30109-8", "inspection"): -178,
    ("30141-0", "oil change"): -361,
    ("30161-2", "inspection"): -178,
    ("30193-4", "calibration"): -361,
}
OPEN_HOLDS = (
    ("20111-0", "damaged", "Reaction arm cracked at the spline, found when it came back from NB-138", -26),
    ("20165-9", "damaged", "Cover cut through to the reinforcement near the tool end", -9),
    ("20212-9", "calibration", "As found 3.4 % high at 6,000 psi, pointer does not return to zero", -15),
    ("20193-3", "inspection", "Weeps at the retract swivel", -41),
    ("20134-5", "recall", "Maker's notice: drive pawl to be replaced before further use", -20),
    ("30127-6", "damaged", "Two teeth of the ratchet chipped", -12),
    ("30166-1", "inspection", "Blister in the cover 40 cm from the pump end", -6),
    ("30139-7", "other", "Pendant button sticks, waiting for the part", -33),
)
# What upkeep finds now and then, by task and kind: cause, reason, and the evidence that ends the hold.
FOUND = {
    "calibration wrench": (
        ("calibration", "As found {low} % low at half range", "Seals renewed, calibrated again, {paper}"),
        ("calibration", "As found {low} % low at full range", "Adjusted and calibrated again, {paper}"),
    ),
    "calibration gauge": (
        ("calibration", "As found {low} % high at half range", "Pointer set and calibrated again, {paper}"),
    ),
    "inspection wrench": (
        ("inspection", "Swivel weeps under pressure", "Swivel seals renewed, held at full pressure, dry"),
        ("inspection", "Screws of the reaction arm loose", "Screws renewed and secured, inspected again"),
        ("inspection", "Plate no longer readable", "Plate renewed from the file, serial compared"),
    ),
    "inspection pump": (
        ("inspection", "Pendant cable chafed", "Cable renewed, tested"),
        ("inspection", "Oil below the sight glass", "Leak at the tank seal put right, filled up"),
    ),
    "inspection hose": (
        ("inspection", "Coupling half does not seat fully home", "Coupling half renewed, proof tested"),
    ),
    "inspection coupler": (
        ("inspection", "Half does not seat fully home", "Half renewed, held at full pressure, dry"),
    ),
    "proof test hose": (
        ("inspection", "Coupling half weeps at the proof pressure", "Half renewed, proof tested again"),
    ),
    "relief valve check pump": (
        ("other", "Relief valve opens above its setting", "Valve renewed and set, sealed by the keeper"),
    ),
    "electrical safety check pump": (("other", "Earth bond out of limits", "Flex and plug renewed, tested"),),
}
NOTES = {"proof test": "2 x working pressure, 60 s, no leak", "oil change": "oil and strainer"}
REMARKS = ("night shift", "wind stop", "rain stop", "nut cut, galled", "second pass after four hours")
