"""How loud the tones are played, from what the microphone heard of the last ones. Plays and records nothing.

The system's volume, the loudspeaker and its distance are not known here; only what comes back to the microphone is.
"""

from __future__ import annotations

#: A tone is told from the room when it stands this far above it at the microphone.
ABOVE_DB = 6.0
#: Louder than this is unpleasant and is turned down again.
PLENTY_DB = 20.0
STEP_DB = 4.0
FULL_DB, LEAST_DB = 0.0, -24.0
#: Without a microphone: somewhat under full.
USUAL_DB = -4.0


class ToneLevel:
    """Follows the room: `heard` after each tone."""

    def __init__(self) -> None:
        self.volume_db = USUAL_DB
        self.too_faint = False

    @property
    def volume(self) -> float:
        """The share of full scale to play at."""
        return float(10 ** (self.volume_db / 20))

    def heard(self, tone_db: float, room_db: float) -> bool:
        """A tone was played: its loudest level at the microphone, and the room's (dBFS). True when it was changed.

        `too_faint` then says that even the loudest is not 6 dB above the room: only the system's volume can help.
        """
        above, before = tone_db - room_db, self.volume_db
        if above < ABOVE_DB:
            self.volume_db = min(FULL_DB, self.volume_db + max(STEP_DB, ABOVE_DB - above))
        elif above > PLENTY_DB:
            self.volume_db = max(LEAST_DB, self.volume_db - STEP_DB)
        self.too_faint = above < ABOVE_DB and before >= FULL_DB
        return self.volume_db != before
