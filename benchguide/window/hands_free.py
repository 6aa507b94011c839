"""Hands-free in one place: reading aloud, listening, foot switch, awake, the lamps, and what they mean to the bench.

Wires parts that know nothing of each other. Everything is optional and started after the first paint; whatever of it
fails, the bench goes on with keys.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer, Signal

from benchguide.speech.reader_text import sentence, step_words
from benchguide.speech.tone_level import ToneLevel
from benchguide.window.actions import BENCH
from benchguide.window.bench_words import moved_words
from benchguide.window.raiser import Raiser
from benchguide.window.settings import Settings
from benchguide.window.switch_link import SwitchLink
from benchguide.window.voice_link import VoiceLink
from benchguide.window.widgets.instruction import cautions_of
from benchguide.window.widgets.voice_strip import Lamp, VoiceFigures, VoiceStrip

if TYPE_CHECKING:
    from benchguide.session.events import Fact
    from benchguide.speech.level import Level, MicrophoneCheck
    from benchguide.speech.listener import Listener
    from benchguide.speech.reader import Reader
    from benchguide.speech.recogniser import Heard
    from benchguide.window.app import Bench
    from benchguide.window.driver import BenchDriver

#: a person who pages through steps hears only the one they stop at
READ_AFTER_MS = 350
#: the processes that hear and speak are started this long after the window is up
START_AFTER_MS = 900
#: a tone is still in the room, and in the sound server's buffers, this long after its end
TONE_AFTER_MS = 500


class HandsFree(QObject):
    """One for the life of the window; `set_driver` follows the session on the bench, `use` the settings."""

    checked = Signal(object)
    """The microphone check is over: a MicrophoneCheck."""
    changed = Signal()
    """A lamp or a sentence about one has changed."""
    level = Signal(object)

    def __init__(self, bench: Bench, autostart: bool = True) -> None:
        super().__init__(bench)
        self._bench = bench
        shell = bench.shell
        self.raiser = Raiser(shell.actions_by_name, shell.question, lambda: bench.driver)
        self.strip = VoiceStrip(bench.theme, shell)
        self.strip.worded.connect(shell.make_way)
        self.voice = VoiceLink(self.raiser, self)
        self.switch = SwitchLink(self.raiser, self)
        self.reader: Reader | None = None
        self.listener: Listener | None = None
        self._awake: QObject | None = None
        self._figures = VoiceFigures()
        self._driver: BenchDriver | None = None
        self._step = ""
        self._before = ""
        self._microphone = ""
        self._autostart = autostart
        self._tones = ToneLevel()
        self._tone_peak: float | None = None
        self._faint_told = False
        self._soon = QTimer(self, singleShot=True, interval=READ_AFTER_MS)
        self._soon.timeout.connect(self.read_step)
        self._connect()
        self.use(bench.settings)

    def _connect(self) -> None:
        actions = self._bench.shell.actions_by_name
        for spec in BENCH:
            actions[spec.name].triggered.connect(self._acted)
        actions["say-again"].triggered.connect(self.read_again)
        actions["read-aloud"].triggered.connect(
            lambda: self._change(read_aloud=not self._settings.read_aloud)
        )
        actions["listen"].triggered.connect(lambda: self._change(listen=not self._settings.listen))
        self.voice.understood.connect(self._understood)
        self.voice.refused.connect(self._refused)
        self.voice.expects.connect(self._expect)
        self.switch.refused.connect(self._refused)
        self.switch.pressed.connect(lambda _name: self.hush())
        self.switch.state_changed.connect(self._switch_state)
        self.switch.learnt.connect(lambda key: self._change(switch_key=key.key, switch_scan=key.scan))

    # -- settings

    @property
    def _settings(self) -> Settings:
        return self._bench.settings

    def _change(self, **new: object) -> None:
        self.change(replace(self._settings, **new))  # type: ignore[arg-type]

    def change(self, settings: Settings) -> None:
        """Keep and use settings that change nothing but hearing, speaking and the switch."""
        self._bench.remember(settings)
        self.use(settings)

    def use(self, settings: Settings) -> None:
        """Start and stop what these settings ask for; another theme dresses the lamps anew."""
        self.strip.set_theme(self._bench.theme)
        self.switch.use(settings)
        if not self._autostart:
            return
        if settings.read_aloud and self.reader is None:
            QTimer.singleShot(START_AFTER_MS, self, self._start_reader)
        elif not settings.read_aloud and self.reader is not None:
            self._stop_reader()
        elif self.reader is not None:
            self.reader.choose(settings.reader_voice, settings.reader_speed, settings.reader_locale)
        if settings.listen and self.listener is None:
            QTimer.singleShot(START_AFTER_MS, self, self._start_listener)
        elif not settings.listen and self.listener is not None:
            self._stop_listener()
        elif self.listener is not None and self._microphone != settings.microphone:
            # another microphone: a listener is for one, from its start
            self._stop_listener()
            QTimer.singleShot(0, self, self._start_listener)
        elif self.listener is not None:
            self.listener.set_talker(settings.talker_db or None)

    # -- reading aloud

    def _start_reader(self) -> None:
        if self.reader is not None or not self._settings.read_aloud:
            return
        from benchguide.speech.reader import Reader

        s = self._settings
        self.reader = reader = Reader(
            locale=s.reader_locale, voice=s.reader_voice, rate=s.reader_speed, parent=self
        )
        reader.begins.connect(self._mute)
        reader.ended.connect(self._unmute)
        reader.state_changed.connect(self._reader_state)
        reader.start()

    def _stop_reader(self, wait: bool = False) -> None:
        reader, self.reader = self.reader, None
        if reader is not None:
            reader.close(wait)
        self._show(reading=Lamp.OFF)

    def _reader_state(self, state: str, told: str) -> None:
        if self.reader is None:
            return
        lamp = {"speaking": Lamp.BUSY, "ready": Lamp.READY, "absent": Lamp.FAULT}.get(state, Lamp.OFF)
        first = lamp is Lamp.READY and self._figures.reading in (Lamp.OFF, Lamp.FAULT)
        fell = lamp is Lamp.FAULT and self._figures.reading is not Lamp.FAULT
        self._show(reading=lamp)
        if fell:
            self._bench.shell.message.warn(told)
        if first:
            self.read_step()

    def step_words(self) -> str:
        """The step on the bench as it is read aloud; empty without one."""
        driver = self._bench.driver
        if driver is None or not driver.state.open:
            return ""
        state = driver.state
        step, device = state.step, state.job.device
        return step_words(
            step.text,
            cautions=[(str(each.word), each.text) for each in cautions_of(step, device)],
            moved=moved_words(state, step),
            key_point=step.key_point or "",
        )

    def read_step(self) -> None:
        """Read the step on the bench aloud, from its cautions on."""
        words, self._before = f"{self._before} {self.step_words()}".strip(), ""
        if words and self.reader is not None:
            self.reader.say(words)

    def read_again(self) -> None:
        """Say again what was said last, else the step."""
        if self.reader is None or not self.reader.speaking:
            self.read_step()
        else:
            self.reader.again()

    def speak(self, words: str) -> None:
        """Say one sentence now."""
        if self.reader is not None:
            self.reader.say(sentence(words))

    def hush(self) -> None:
        """The person speaks or acts: fall silent."""
        self._soon.stop()
        self._before = ""
        if self.reader is not None:
            self.reader.stop()

    def _acted(self) -> None:
        self.hush()
        self.voice.follow()

    # -- listening

    def _start_listener(self) -> None:
        if self.listener is not None or not self._settings.listen:
            return
        from benchguide.speech.listener import Listener

        s = self._settings
        self._microphone = s.microphone
        self.listener = listener = Listener(s.microphone, s.talker_db or None, s.phrases, self)
        listener.heard.connect(self._heard)
        listener.level.connect(self._level)
        listener.speaking.connect(self._speaking)
        listener.state_changed.connect(self._hearing)
        listener.volume_warned.connect(self._volume_warned)
        listener.checked.connect(self._checked)
        listener.inputs_changed.connect(self.changed)
        listener.start()
        self.voice.follow()

    def _stop_listener(self, wait: bool = False) -> None:
        listener, self.listener = self.listener, None
        if listener is not None:
            listener.stop(wait)
        self.voice.drop()
        self._show(microphone=Lamp.OFF)

    def check_microphone(self, seconds: float = 5.0) -> None:
        """The person speaks for some seconds now."""
        if self.listener is not None:
            self.hush()
            self.listener.check(seconds)

    def _checked(self, check: MicrophoneCheck) -> None:
        if check.speech_db is not None:
            self._change(talker_db=round(check.speech_db, 1), room_db=round(check.room_db, 1))
        self._bench.shell.message.say(check.sentence)
        self.checked.emit(check)

    def _volume_warned(self, told: str) -> None:
        if told:
            self._bench.shell.message.warn(told)

    def tone_played(self, tone: str) -> None:
        """A tone sounds: hear how far it stands above the room, for the next one."""
        from benchguide.speech.tones import Tone, lasts_s

        if self.listener is not None and self.listener.hearing and self._figures.reading is not Lamp.BUSY:
            self._tone_peak = -120.0
            QTimer.singleShot(round(1000 * lasts_s(Tone(tone))) + TONE_AFTER_MS, self, self._tone_over)

    def _tone_over(self) -> None:
        peak, self._tone_peak = self._tone_peak, None
        sounds = self._bench.sounds
        if peak is None or sounds is None:
            return
        if self._tones.heard(peak, self._figures.room_db):
            sounds.set_volume(self._tones.volume)
        if self._tones.too_faint and not self._faint_told:
            self._faint_told = True
            self._bench.shell.message.warn(
                "The sounds do not stand out from the room even at their loudest: turn the system's volume up."
            )

    def _hearing(self, hearing: bool, told: str) -> None:
        ready = "Getting ready" in told
        fell = not hearing and not ready and self._figures.microphone is not Lamp.FAULT
        if self.listener is None:
            return
        self._show(microphone=Lamp.READY if hearing else Lamp.OFF if ready else Lamp.FAULT)
        if fell:
            self._bench.shell.message.warn(told)

    def _level(self, level: Level) -> None:
        if self._tone_peak is not None:
            self._tone_peak = max(self._tone_peak, level.now_db)
        self._show(
            now_db=level.now_db, room_db=level.room_db, too_noisy=level.too_noisy, clipping=level.clipping
        )
        self.level.emit(level)

    def _speaking(self, now: bool) -> None:
        if self._figures.microphone in (Lamp.READY, Lamp.BUSY):
            self._show(microphone=Lamp.BUSY if now else Lamp.READY)
        # only with an echo canceller is this known to be the person, and not the program itself
        if now and self._settings.echo_canceller:
            self.hush()

    def _mute(self, _words: str) -> None:
        if self.listener is not None and not self._settings.echo_canceller:
            self.listener.mute()

    def _unmute(self) -> None:
        if self.listener is not None:
            self.listener.unmute()

    def _expect(self, numbers: bool, asking: bool) -> None:
        if self.listener is not None:
            self.listener.expect(numbers, asking)

    def _heard(self, heard: Heard) -> None:
        self.hush()
        self.voice.take(heard)

    def _understood(self, told: str, aloud: bool) -> None:
        self.strip.say(told, strong=bool(self.voice.waiting))
        if aloud and self.reader is not None:
            self._soon.stop()
            self.speak(told)
            if self._changed_step():
                self._before = ""
        elif self.reader is None:
            self._bench.play("understood")
        else:
            self._before = told

    def _refused(self, told: str) -> None:
        self.strip.say(told, strong=True)
        self._bench.shell.message.warn(told)
        self._bench.play("blocked")
        self.speak(told)

    # -- foot switch

    def _switch_state(self, on: bool, heard: bool, told: str) -> None:
        lost = on and not heard and self._figures.switch is not Lamp.FAULT
        self._show(switch=Lamp.OFF if not on else Lamp.READY if heard else Lamp.FAULT)
        if lost:
            self._bench.play("switch-not-heard")
            self._bench.shell.message.warn(told)

    # -- the session on the bench

    def set_driver(self, driver: BenchDriver) -> None:
        """Another session is on the bench."""
        self._driver = driver
        self._step = ""
        driver.changed.connect(self._on_facts)
        self._on_facts(())

    def _changed_step(self) -> bool:
        driver = self._driver
        return bool(driver and driver.state.open and driver.state.step.id != self._step)

    def _on_facts(self, _facts: tuple[Fact, ...]) -> None:
        driver = self._driver
        if driver is None:
            return
        self._keep_awake(driver.state.open)
        if not driver.state.open:
            self.hush()
            return
        if self._changed_step():
            self._step = driver.state.step.id
            self.voice.follow()
            self._soon.start()

    def _keep_awake(self, open_: bool) -> None:
        if not self._autostart:
            return
        if self._awake is None:
            from benchguide.window.awake import Awake

            self._awake = Awake(self)
        self._awake.hold() if open_ else self._awake.release()  # type: ignore[attr-defined]

    # -- the lamps

    def _show(self, **new: object) -> None:
        before = self._figures
        self._figures = replace(before, **new)  # type: ignore[arg-type]
        self.strip.set_figures(self._figures)
        if set(new) & {"microphone", "reading", "switch"} and before != self._figures:
            self.changed.emit()

    @property
    def figures(self) -> VoiceFigures:
        """What the lamps show."""
        return self._figures

    def close(self) -> None:
        """End the processes and let the screen sleep."""
        self._autostart = False
        self._soon.stop()
        self.switch.close()
        self._stop_reader(wait=True)
        self._stop_listener(wait=True)
        if self._awake is not None:
            self._awake.release()  # type: ignore[attr-defined]
