"""What a fault of a photo is called for a person, and what mends it. Does not look at pictures: the words come in."""

#: word as it stands in a fact -> what is wrong, and the remedy
FAULTS = {
    "covered": ("black", "Take the cover off the lens, or put the light on."),
    "dark": ("too dark", "Bring the lamp nearer, or set the camera to a longer exposure."),
    "burnt-out": ("burnt out", "Turn the lamp away, or set the camera to a shorter exposure."),
    "glare": ("hidden by glare", "Turn the lamp or the device a little."),
    "shaken": ("shaken", "Rest the stand and let go of the table."),
    "out-of-focus": ("out of focus", "Set the distance or touch the focus."),
    "frozen": ("a repeated picture", "Unplug the camera and plug it in again."),
    "plain": ("one plain colour", "See whether something is held before the lens."),
}


def fault_words(fault: str) -> str:
    """What is wrong, as it stands after "The photo is"."""
    return FAULTS[fault][0] if fault in FAULTS else fault


def remedy_of(fault: str) -> str:
    """What mends it, one sentence."""
    return FAULTS[fault][1] if fault in FAULTS else "See what hides the part."
