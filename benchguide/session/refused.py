"""The answer to a command that cannot be carried out now. It is an answer, not a fault."""

from benchguide.session.gate import Gate


class Refused(Exception):
    """One sentence for a person; `gates` are the hold points in the way, if any."""

    def __init__(self, sentence: str, gates: tuple[Gate, ...] = ()) -> None:
        super().__init__(sentence)
        self.gates = gates


def refuse_if(gates: tuple[Gate, ...]) -> None:
    """Raises Refused, with the first hold point as its sentence, when there is one."""
    if gates:
        raise Refused(gates[0].told, gates)


def named(reason: str, name: str) -> tuple[str, str]:
    """Reason and name without blanks around them. Raises Refused when one is missing."""
    reason, name = reason.strip(), name.strip()
    if not reason or not name:
        raise Refused("A reason and a name are needed.")
    return reason, name
