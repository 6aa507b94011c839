"""The checker: every rule over a part map and a procedure, before anyone follows it.

Reading files is loader.py. The rules are in rules_*.py, one small function each; RULES is their table.
"""

from collections.abc import Iterable

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import Loaded
from benchguide.procedure.problems import Problem, Severity, shown
from benchguide.procedure.procedure import Procedure
from benchguide.procedure.rules import Finding, Rule, View
from benchguide.procedure.rules_care import CARE_RULES
from benchguide.procedure.rules_caution import CAUTION_RULES
from benchguide.procedure.rules_mains import MAINS_RULES
from benchguide.procedure.rules_map import MAP_RULES
from benchguide.procedure.rules_order import ORDER_RULES
from benchguide.procedure.rules_words import WORDS_RULES

RULES: tuple[Rule, ...] = (
    *ORDER_RULES,
    *MAINS_RULES,
    *CARE_RULES,
    *CAUTION_RULES,
    *WORDS_RULES,
    *MAP_RULES,
)

_RANK = {severity: rank for rank, severity in enumerate(Severity)}


def check_device(device: Loaded[DeviceMap]) -> list[Problem]:
    """Every finding on a part map alone, the most serious first, then by line."""
    view = View(device.model, None)
    found = (
        _problem(rule, finding, device, None) for rule in RULES if rule.map for finding in rule.map(view)
    )
    return _in_order(found)


def check(device: Loaded[DeviceMap], procedure: Loaded[Procedure]) -> list[Problem]:
    """Every finding on a procedure and on its part map, the most serious first, then by file and line.

    The steps of a procedure that names its target were made from the part map: what is wrong with them is told
    where it is written, which may be in the part map. Time grows linearly with the number of parts and steps.
    Raises ValueError when the two do not belong together.
    """
    if procedure.model.device != device.model.id:
        raise ValueError(f"the procedure is for {procedure.model.device}, not for {device.model.id}")
    view = View(device.model, procedure.model)
    found = [*check_device(device)]
    for rule in RULES:
        if rule.job:
            found += (_problem(rule, finding, device, procedure) for finding in rule.job(view))
    return _in_order(found)


def _problem(
    rule: Rule, finding: Finding, device: Loaded[DeviceMap], procedure: Loaded[Procedure] | None
) -> Problem:
    file: Loaded[DeviceMap] | Loaded[Procedure] = device
    keys = finding.keys
    if procedure is not None and not finding.in_map:
        in_map, keys = procedure.source(*keys)
        file = device if in_map else procedure
    spot = file.spots.find(keys)
    line, column = spot.line, spot.column
    value = "" if finding.value is None else shown(finding.value)
    return Problem(
        str(file.path), line, column, rule.severity, rule.id, value, finding.message, finding.remedy
    )


def _in_order(found: Iterable[Problem]) -> list[Problem]:
    # a text of the part map is looked at there and again in the step that was made from it
    once = {(p.file, p.line, p.column, p.rule, p.value): p for p in found}
    return sorted(once.values(), key=lambda p: (_RANK[p.severity], p.file, p.line, p.column))
