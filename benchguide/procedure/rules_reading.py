"""What the loader refuses, in the same table form as the rules of the checker. It finds nothing itself.

The functions are in loader_yaml.py (text), loader_words.py (single values) and loader_links.py (names).
"""

from benchguide.procedure.problems import Severity
from benchguide.procedure.rules import Rule

_TEXT = "A file from elsewhere may be damaged or hostile; it is refused before it can do harm."
_VALUE = "A value that is guessed at would be a wrong screw, time or place on the bench."
_NAME = "A name that leads nowhere would leave a part out of the count."

_ROWS = (
    ("unreadable", "The file can be opened.", _TEXT, "A folder, a pipe, or a file without permission."),
    ("too-big", "A file has at most 4 MB and 300,000 values.", _TEXT, "A log with the wrong name."),
    ("not-utf-8", "The text is UTF-8.", _TEXT, "A file saved as UTF-16 or Latin-1."),
    ("control-character", "The text has no control characters.", _TEXT, "A zero byte."),
    ("yaml", "The text is YAML.", _TEXT, "A tab as indentation, a bracket left open."),
    ("too-deep", "Values are nested at most 32 deep.", _TEXT, "A thousand opening brackets."),
    ("alias", "There are no aliases.", _TEXT, "`held_by: *screws`."),
    ("anchor", "There are no anchors.", _TEXT, "`held_by: &screws [a, b]`."),
    ("tag", "There are no tags.", _TEXT, "`!!python/object/apply:os.system`."),
    ("odd-key", "Every key is a single word.", _TEXT, "`? [a, b]`."),
    ("second-document", "A file holds one part map or one procedure.", _TEXT, "A second `---`."),
    ("empty", "The file holds something.", _TEXT, "A file of remarks only."),
    ("wrong-kind", "The first key tells the kind of file.", _VALUE, "`benchguide: recipe`."),
    ("newer-version", "The file is not newer than the program.", _VALUE, "`benchguide: device/2`."),
    ("double-key", "No key stands twice in one group.", _VALUE, "Two `name:` in one part."),
    ("unknown-key", "Every key is known.", _VALUE, "`nmae: Lid`."),
    ("missing-key", "Every key that is needed is there.", _VALUE, "A part without `name`."),
    ("unknown-word", "Closed lists are kept to.", _VALUE, "`kind: lose`."),
    ("out-of-range", "Numbers are within their range.", _VALUE, "`count: -4`."),
    ("not-a-number", "Numbers are finite and without units.", _VALUE, "`limit_c: 60 C`, `limit_c: .nan`."),
    ("not-a-text", "Texts are texts.", _VALUE, "`name: 12` without quotation marks."),
    ("not-yes-or-no", "Switches are true or false.", _VALUE, "`once: maybe`."),
    ("not-a-list", "Lists are lists.", _VALUE, "`held_by: lid`."),
    ("not-a-group", "Groups are groups of keys.", _VALUE, "`outline: 80`."),
    ("too-long", "Texts and lists are not too long.", _VALUE, "A name of 200 letters."),
    ("too-short", "Texts and lists are not too short.", _VALUE, "`name: ''`, a point of 1 number."),
    ("bad-name", "Names, threads and cells are written as they must be.", _VALUE, "`id: Lower Plate`."),
    ("bad-value", "Every value can be used.", _VALUE, "A value that no other rule names."),
    ("contradiction", "Values of one group agree.", _VALUE, "Three places for four screws."),
    ("outside", "Positions lie on the device.", _VALUE, "`box: [90, 0, 20, 20]` on 80 mm of width."),
    ("double-part", "No two parts have one name.", _NAME, "`id: lid` twice."),
    ("double-tool", "No two tools have one name.", _NAME, "`id: driver` twice."),
    ("double-step", "No two steps have one name.", _NAME, "`id: lift-lid` twice."),
    ("double-line", "No two lines of a step have one name.", _NAME, "`id: sound` twice."),
    ("double-device", "No two part maps have one name.", _NAME, "A copy of a part map in another folder."),
    ("part-twice", "A step names a part once.", _NAME, "`parts: [lid, lid]`."),
    ("unknown-part", "Every part named is in the part map.", _NAME, "`under: [lidd]`."),
    ("unknown-tool", "Every tool named is in the part map.", _NAME, "`tool: leverr`."),
    ("unknown-device", "The part map of a procedure is on the shelf.", _NAME, "`device: dimer`."),
    ("broken-device", "Its part map has no errors.", _NAME, "A part map that was just edited."),
    ("own-holder", "No part holds or covers itself.", _NAME, "`held_by: [lid]` at `lid`."),
    ("loop", "Parts do not wait for each other in a circle.", _NAME, "`a` under `b`, `b` under `a`."),
    ("wrong-action", "The action suits the kind of part.", _NAME, "`action: lift` for a connector."),
    ("cannot-reach", "The target can be reached with what has to stay.", _NAME, "`keep: [lid]` over the target."),
    ("not-on-the-way", "What is said of a part is said of one that comes off.", _NAME, "`at: [{part: fan}]`, fitted."),
    ("unknown-wait", "A step waits for a countdown begun earlier.", _NAME, "`after_wait: cure`, and no such step."),
    ("many-more", "A file has fewer than 500 errors.", _TEXT, "A key misspelt in every part."),
    ("json", "A stored model is JSON.", _TEXT, "A record cut short."),
)  # fmt: skip

READING_RULES: tuple[Rule, ...] = tuple(Rule(row[0], Severity.ERROR, *row[1:]) for row in _ROWS)
