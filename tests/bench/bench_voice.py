"""How well spoken commands are heard: `python tests/bench/bench_voice.py [CASES] [--cache DIR] [--hours 2]`.

Commands and numbers said by the test voices of voice_corpus.py, with and without bench noise; running English speech
and bench noise in which nothing may be heard; delay, processor time, memory. CASES is a folder of recordings with a
truth.json (cases: file, speech_dbfs, events of phrase, start, end), measured besides. Baseline of the same run:
pocketsphinx with a grammar of the same phrases (JSGF), given the same stretches of speech.

--only takes some parts (commands numbers running noise load cases) and --conditions some of clean fan20 fan10 fan5
click10 chat20, to measure in pieces. --short takes three voices and some two minutes of processor time. --net
pocketsphinx measures the second recogniser. --numbers-on listens for counts in running speech too. Delay is stream
time from the end of a phrase to the command with the processor time of a listener on one core in it; by the clock of
the machine it is printed beside. Exit code 1 when a bar is missed. The first run makes the recordings, which takes
half an hour.
"""

import argparse
import itertools
import json
import math
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
import soundfile
import soxr
import voice_corpus as corpus
from voice_corpus import RATE, Take, Voice

from benchguide.speech.phonemes import load_net, optional
from benchguide.speech.phrases import Group, PhraseTable, bundled
from benchguide.speech.phrases_distance import NOTHING, sounds_of
from benchguide.speech.phrases_score import edit_distance, written
from benchguide.speech.recogniser import Heard, Recogniser
from benchguide.speech.recogniser_judge import STRICT, Limits, PhraseJudge
from benchguide.speech.recording import Recording
from benchguide.speech.voice_activity import SileroJudge, Stretch

PIECE = RATE // 50  # a microphone gives some 20 ms at a time
CONDITIONS = ("clean", "fan20", "fan10", "fan5", "click10", "chat20")
GROUPS = (Group.COMMAND, Group.NUMBER, Group.FURTHER, Group.ANSWER)
PARTS = ("commands", "numbers", "running", "noise", "load", "cases")
HEARD_BARS = {"clean": 0.97, "fan10": 0.94, "fan5": 0.90}
WRONG_BAR, NUMBER_BAR, FALSE_AN_HOUR, DELAY_BAR_S, CPU_BAR, MEMORY_BAR_MB = 0.003, 0.90, 1.0, 0.6, 0.08, 150
GROWTH_BAR_MB = 8
#: One-sided 95 % upper limit of a Poisson mean when 0, 1, 2 ... were counted (handbook values, from memory).
POISSON_95 = (3.0, 4.74, 6.30, 7.75, 9.15, 10.51)


class Beside(Recogniser):
    """The recogniser under test; gives each stretch of speech to the baseline too."""

    baseline: "Grammar | None" = None

    def _heard(self, stretch: Stretch) -> Heard | None:
        if self.baseline:
            words = None if stretch.too_long else self.baseline.words(stretch.samples, self._groups())
            self.other.append(words)
        return super()._heard(stretch)

    @cached_property
    def other(self) -> list[str | None]:
        """What the baseline made of each stretch so far."""
        return []


class Grammar:
    """Baseline: pocketsphinx, its English model and dictionary, a JSGF grammar of the phrases."""

    def __init__(self, table: PhraseTable) -> None:
        sphinx = optional("pocketsphinx", "pocketsphinx")
        self._decoders = {}
        choices = [((), (group,)) for group in (Group.FURTHER, Group.NUMBER, Group.ANSWER)]
        for more in itertools.product(*choices):
            groups = (Group.COMMAND, *itertools.chain(*more))
            decoder = sphinx.Decoder(samprate=RATE, loglevel="FATAL", lm=None)
            lines = " | ".join(phrase.words for phrase in table.of(*groups))
            decoder.add_jsgf_string("bench", f"#JSGF V1.0; grammar bench; public <phrase> = {lines};")
            decoder.activate_search("bench")
            self._decoders[groups] = decoder
        self.cpu_s = self.wall_s = 0.0

    def words(self, samples: np.ndarray, groups: tuple[Group, ...]) -> str | None:
        started, began = time.thread_time(), time.perf_counter()
        decoder = self._decoders[groups]
        decoder.start_utt()
        decoder.process_raw((np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes(), full_utt=True)
        decoder.end_utt()
        self.cpu_s += time.thread_time() - started
        self.wall_s += time.perf_counter() - began
        return decoder.hyp().hypstr if decoder.hyp() else None


@dataclass
class Tally:
    """Counts over takes of one kind."""

    said: int = 0
    heard: int = 0
    wrong: int = 0
    extra: int = 0
    base_heard: int = 0
    base_wrong: int = 0
    base_extra: int = 0
    seconds: float = 0.0
    cpu_s: float = 0.0
    delays: list[float] = field(default_factory=list)
    walls: list[float] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    false: list[str] = field(default_factory=list)

    def add(self, other: "Tally") -> "Tally":
        for name, value in vars(other).items():
            setattr(self, name, getattr(self, name) + value)
        return self


class Bench:
    """Holds what is loaded once."""

    def __init__(self, net: str | None, baseline: bool, strict: bool = False) -> None:
        self.table = bundled()
        self.limits = STRICT if strict else Limits()
        self.net = load_net(net)
        self.judge = PhraseJudge(self.table, self.net, self.limits)
        self.voice = SileroJudge()
        self.baseline = Grammar(self.table) if baseline else None

    @property
    def _baseline(self) -> tuple[float, float]:
        return (self.baseline.cpu_s, self.baseline.wall_s) if self.baseline else (0.0, 0.0)

    def run(
        self,
        take: Take,
        numbers: bool = False,
        asking: bool = False,
        piece: int = PIECE,
        further: bool = True,
    ) -> Tally:
        """One take through a fresh recogniser; every command and every delay counted."""
        self.voice.reset()
        listener = Beside(self.table, judge=self.judge, voice=self.voice)
        listener.baseline = self.baseline
        listener.numbers, listener.further, listener.talker_db = numbers, further, take.level
        listener.asking = asking
        tally, found, other, seen = Tally(said=len(take.truth), seconds=len(take.sound) / RATE), [], [], 0
        sound = np.concatenate([take.sound, np.zeros(RATE, np.float32)])
        # when a listener on one core of its own would be done: it begins a piece when the piece is there and the
        # one before is done; by processor time, and by the clock of this machine with whatever else runs on it
        done = wall = 0.0
        for start in range(0, len(sound), piece):
            before, began, base = time.thread_time(), time.perf_counter(), self._baseline
            heard = listener.feed(sound[start : start + piece])
            spent = time.thread_time() - before - (self._baseline[0] - base[0])
            tally.cpu_s += spent
            now = min(start + piece, len(sound)) / RATE
            done = max(done, now) + spent
            wall = max(wall, now) + time.perf_counter() - began - (self._baseline[1] - base[1])
            found += [(h.words, h.start_s, h.end_s, done, wall) for h in heard]
            other += [(w, now) for w in listener.other[seen:]]
            seen = len(listener.other)
        _match(take, tally, found)
        _match_baseline(take, tally, other)
        return tally


def _match(take: Take, tally: Tally, found: list[tuple[str, float, float, float, float]]) -> None:
    used = set()
    for words, begin, end in take.truth:
        mine = [i for i, f in enumerate(found) if i not in used and f[1] < end and f[2] > begin]
        used |= set(mine)
        right = [i for i in mine if found[i][0] == words]
        tally.heard += bool(right)
        tally.wrong += len(mine) - len(right[:1])
        tally.delays += [found[i][3] - end for i in right[:1]]
        tally.walls += [found[i][4] - end for i in right[:1]]
        if not right:
            tally.missed.append(f"{take.name}: {words}" + "".join(f" as {found[i][0]}" for i in mine))
    tally.extra += len(found) - len(used)
    tally.false += [
        f"{take.name} at {found[i][1]:.1f} s: {found[i][0]}" for i in set(range(len(found))) - used
    ]


def _match_baseline(take: Take, tally: Tally, other: list[tuple[str | None, float]]) -> None:
    """The baseline gets the same stretches; each belongs to the phrase that ended up to a second before it."""
    for words, begin, end in take.truth:
        mine = [w for w, at in other if w and begin < at - 0.3 and end > at - 1.2]
        tally.base_heard += words in mine
        tally.base_wrong += any(w != words for w in mine) and words not in mine
    if not take.truth:
        tally.base_extra += sum(1 for w, _ in other if w)


def command_takes(
    table: PhraseTable,
    voices: Iterable[Voice],
    condition: str,
    group: Group,
    cache: Path,
    chatter: np.ndarray,
) -> Iterator[Take]:
    """One take a voice with every phrase of the group."""
    phrases = [p.words for p in table.of(group)]
    for turn, voice in enumerate(voices):
        spoken = list(zip(phrases, corpus.said(voice, phrases, cache), strict=True))
        seed = 10_000 + 100 * turn + 10 * CONDITIONS.index(condition) + GROUPS.index(group)
        yield corpus.spoken_take(voice.name, spoken, condition, seed, chatter)


def case_takes(folder: Path) -> Iterator[tuple[str, Take]]:
    """The recordings of a folder with a truth.json."""
    for case in json.loads((folder / "truth.json").read_text())["cases"]:
        sound = np.concatenate(list(Recording(folder / case["file"])))
        truth = tuple((e["phrase"], e["start"], e["end"]) for e in case["events"])
        yield case["cond"], Take(case["file"], sound, truth, case["speech_dbfs"])


class Table:
    """Prints rows and remembers whether a bar was missed."""

    def __init__(self, baseline: bool) -> None:
        self.missed, self._baseline = 0, baseline
        print(f"{'what':<46}{'bar':>10}{'figure':>12}  n, baseline")

    def row(self, what: str, bar: str, figure: str, met: bool | None, rest: str) -> None:
        self.missed += met is False
        mark = {True: "", False: "  MISSED", None: ""}[met]
        print(f"{what:<46}{bar:>10}{figure:>12}  {rest}{mark}", flush=True)

    def beside(self, figure: str) -> str:
        """What the baseline had."""
        return f"JSGF {figure}" if self._baseline else "JSGF not run"

    def false_row(self, what: str, tally: Tally) -> None:
        hours = tally.seconds / 3600
        upper = POISSON_95[tally.extra] / hours if tally.extra < len(POISSON_95) else float("inf")
        rest = f"{hours:.2f} h, at most {upper:.1f}/h at 95 %; {self.beside(str(tally.base_extra))}"
        met = tally.extra <= max(1.0, FALSE_AN_HOUR * hours)
        self.row(what, "1/h", f"{tally.extra / hours:.2f}/h" if hours else "-", met, rest)
        for line in tally.false:
            print(f"    {line}")


def measure_commands(bench: Bench, table: Table, voices: tuple[Voice, ...], args: argparse.Namespace) -> None:
    """Two-word commands by condition; what was taken for another, and the delay."""
    chatter = far_talk(args.cache)
    every = Tally()
    for condition in args.conditions:
        tally = Tally()
        for take in command_takes(bench.table, voices, condition, Group.COMMAND, args.cache, chatter):
            tally.add(bench.run(take))
        every.add(tally)
        _command_row(table, f"commands, {condition}", HEARD_BARS.get(condition), tally, args.show)
    wrong = every.wrong + every.extra
    met = None if every.said < 1 / WRONG_BAR else wrong <= WRONG_BAR * every.said  # fewer cannot tell
    upper = POISSON_95[wrong] / every.said if wrong < len(POISSON_95) else wrong / every.said
    base = table.beside(f"{every.base_wrong / every.said:.1%}")
    rest = f"{wrong} of {every.said}, at most {upper:.2%} at 95 %; {base}"
    table.row("wrong command", f"{WRONG_BAR:.1%}", f"{wrong / every.said:.2%}", met, rest)
    delay, wall = (float(np.percentile(times, 95)) for times in (every.delays, every.walls))
    rest = (
        f"n={len(every.delays)}, median {np.median(every.delays):.2f} s; "
        f"by this machine's clock {wall:.2f} s, median {np.median(every.walls):.2f} s"
    )
    what = "end of phrase to command, 95th percentile"
    table.row(what, f"{DELAY_BAR_S} s", f"{delay:.2f} s", delay <= DELAY_BAR_S, rest)


def measure_numbers(bench: Bench, table: Table, voices: tuple[Voice, ...], args: argparse.Namespace) -> None:
    """Counts, the phrases of the group further, and the answers: each while it is expected."""
    chatter = far_talk(args.cache)
    kinds = ((Group.NUMBER, "counts"), (Group.FURTHER, "further phrases"), (Group.ANSWER, "answers"))
    for group, what in kinds:
        for condition in [c for c in args.conditions if c in ("clean", "fan10")]:
            tally = Tally()
            for take in command_takes(bench.table, voices, condition, group, args.cache, chatter):
                tally.add(bench.run(take, numbers=group is Group.NUMBER, asking=group is Group.ANSWER))
            bar = NUMBER_BAR if condition == "clean" and group is Group.NUMBER else None
            _command_row(table, f"{what}, {condition}", bar, tally, args.show)


def far_talk(cache: Path) -> np.ndarray:
    """Somebody else who talks in the room."""
    return np.concatenate(corpus.said(corpus.available(corpus.DEV)[0], corpus.sentences()[1:7], cache))


def wilson(hits: int, count: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22, 209: "Probable inference ...")."""
    z = 1.96
    share, spread = hits / count, z * z / count
    middle, half = share + spread / 2, z * math.sqrt(share * (1 - share) / count + spread / (4 * count))
    return max(0.0, (middle - half) / (1 + spread)), min(1.0, (middle + half) / (1 + spread))


def _command_row(table: Table, what: str, bar: float | None, tally: Tally, show: bool) -> None:
    share = tally.heard / tally.said
    low, high = wilson(tally.heard, tally.said)
    rest = (
        f"n={tally.said}, 95 %: {low:.1%} to {high:.1%}, wrong {tally.wrong}, extra {tally.extra}; "
        + table.beside(f"{tally.base_heard / tally.said:.1%}, wrong {tally.base_wrong}")
    )
    table.row(what, f"{bar:.0%}" if bar else "-", f"{share:.1%}", None if bar is None else share >= bar, rest)
    if show:
        print("".join(f"    {line}\n" for line in tally.missed), end="")


def shortened(takes: Iterable[Take], short: bool) -> Iterator[Take]:
    """The takes, or the first minute of each."""
    return (replace(take, sound=take.sound[: 60 * RATE]) if short else take for take in takes)


def measure_running(bench: Bench, table: Table, voices: tuple[Voice, ...], args: argparse.Namespace) -> None:
    """Running speech, synthetic and then human: none of it is a command."""
    running = Tally()
    prompts = itertools.islice(corpus.human_prompts(), 1 if args.short else None)
    running_speech = corpus.running_speech(voices, args.hours, args.cache)
    for take in shortened(itertools.chain(running_speech, prompts), args.short):
        running.add(bench.run(take, args.numbers_on, piece=RATE // 2))
        if args.show:
            print(f"    {take.name}: {running.extra} in {running.seconds / 3600:.2f} h", flush=True)
    table.false_row("false accepts, running English speech", running)


def measure_noise(bench: Bench, table: Table, voices: tuple[Voice, ...], args: argparse.Namespace) -> None:
    """Bench noise with talk across the room."""
    noise = Tally()
    far = [np.concatenate(corpus.said(v, corpus.sentences()[20:26], args.cache)) for v in voices[:6:2]]
    for take in shortened(
        corpus.bench_noise(args.noise_hours, lambda part: far[part % len(far)]), args.short
    ):
        noise.add(bench.run(take, args.numbers_on, piece=RATE // 2))
        if args.show:
            print(f"    {take.name}: {noise.extra} in {noise.seconds / 3600:.2f} h", flush=True)
    table.false_row("false accepts, bench noise and distant talk", noise)


def ordinary_bench(bench: Bench, voices: tuple[Voice, ...], cache: Path, short: bool) -> Tally:
    """Ten minutes (one when short) of fan, clicks and distant talk with a command every fifty seconds or so."""
    phrases = [p.words for p in bench.table.of(Group.COMMAND)]
    far = np.concatenate(corpus.said(voices[0], corpus.sentences()[20:26], cache))
    total = Tally()
    for take in shortened(corpus.bench_noise(1 / 12 if short else 2 / 12, lambda _: far), short):
        sound = take.sound.copy()
        for i, spoken in enumerate(corpus.said(voices[-1], phrases, cache)[:6]):
            at = (20 + 45 * i) * RATE
            if at + len(spoken) > len(sound):
                break
            sound[at : at + len(spoken)] += spoken * 10 ** ((take.level + 20) / 20)
        total.add(bench.run(Take("ordinary", np.clip(sound, -1, 1), (), take.level), numbers=False))
    return total


#: Peak memory of a process in MB. Linux tells it from the start of the program on; the resource usage of a child
#: begins with its parent's.
PEAK = """
import resource, sys
def peak():
    try:
        lines = open("/proc/self/status").read().splitlines()
        return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM"))
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
"""

MEMORY = """
import numpy as np
before = peak()
from benchguide.speech.phrases import bundled
from benchguide.speech.phrases_distance import NOTHING, sounds_of
from benchguide.speech.phrases_score import edit_distance, written
from benchguide.speech.recogniser import Recogniser
listener = Recogniser(bundled())
listener.numbers = True
sound = (np.random.default_rng(1).standard_normal(16000 * 60) * 0.01).astype(np.float32)
for start in range(0, len(sound), 8000):
    listener.feed(sound[start:start + 8000])
listener._judge.judge(sound[:56000], ("command", "further", "number"))
print(peak() - before)
"""


def memory_mb() -> float:
    """Peak memory that listening adds to a process that has NumPy, in MB, in a process of its own."""
    root = str(Path(__file__).parents[2])
    done = subprocess.run(
        [sys.executable, "-c", PEAK + MEMORY], cwd=root, capture_output=True, text=True, check=True
    )
    return float(done.stdout)


HOUR = """
from pathlib import Path
from benchguide.speech.listen_command import listen
heard = listen(Path(sys.argv[1]), level=-20).heard
print(len(heard), peak())
"""


def long_file_mb(minutes: int, folder: Path) -> tuple[int, float]:
    """Commands in every tenth minute, 44.1 kHz in stereo: how many were heard, peak memory in MB of its own process."""
    root = Path(__file__).parents[2]
    spoken, _ = soundfile.read(root / "assets_demo/audio/spoken_commands.ogg", dtype="float32")
    minute = np.zeros((60 * 44_100, 2), np.float32)
    part = soxr.resample(spoken, RATE, 44_100)
    minute[: len(part)] = part[:, np.newaxis]
    path = folder / f"{minutes}.flac"
    with soundfile.SoundFile(path, "w", 44_100, 2) as file:
        for at in range(minutes):
            file.write(minute if at % 10 == 0 else 0 * minute)
    done = subprocess.run(
        [sys.executable, "-c", PEAK + HOUR, str(path)], cwd=root, capture_output=True, text=True, check=True
    )
    path.unlink()
    heard, peak = done.stdout.split()
    return int(heard), float(peak)


def measure_load(bench: Bench, table: Table, voices: tuple[Voice, ...], cache: Path, short: bool) -> None:
    """Processor and memory; the hour's file against a minute's."""
    tally = ordinary_bench(bench, voices, cache, short)
    load = tally.cpu_s / tally.seconds
    table.row("processor, ordinary bench", f"{CPU_BAR:.0%}", f"{load:.1%}", load <= CPU_BAR,
              f"{tally.seconds:.0f} s")  # fmt: skip
    added = memory_mb()
    table.row("memory added", f"{MEMORY_BAR_MB} MB", f"{added:.0f} MB", added <= MEMORY_BAR_MB, "own process")
    minutes = 5 if short else 60
    with tempfile.TemporaryDirectory() as folder:
        one, long = (long_file_mb(count, Path(folder)) for count in (1, minutes))
    grown = long[1] - one[1]
    table.row(f"memory of {minutes} min over that of 1 min", f"{GROWTH_BAR_MB} MB", f"{grown:.1f} MB",
              grown <= GROWTH_BAR_MB and long[0] == math.ceil(minutes / 10) * one[0],
              f"{one[1]:.0f} MB, {long[1]:.0f} MB; heard {one[0]}, {long[0]}")  # fmt: skip


def measure_cases(bench: Bench, table: Table, folder: Path, show: bool) -> None:
    """Every recording of the folder, as `benchguide listen AUDIO --counts` hears it."""
    total = Tally()
    for _condition, take in case_takes(folder):
        total.add(bench.run(take, numbers=True, further=False))
    _command_row(table, f"cases in {folder.name}", None, total, show)
    for line in total.false:
        print(f"    extra: {line}")


def aligned(said: Sequence[str], heard: Sequence[str]) -> list[tuple[str, str]]:
    """Pairs of what was said and what was written along a shortest edit path; what was put in is left out."""
    table = np.zeros((len(said) + 1, len(heard) + 1))
    table[:, 0], table[0] = np.arange(len(said) + 1), np.arange(len(heard) + 1)
    for i, one in enumerate(said, 1):
        for j, other in enumerate(heard, 1):
            table[i, j] = min(table[i - 1, j] + 1, table[i, j - 1] + 1, table[i - 1, j - 1] + (one != other))
    pairs, i, j = [], len(said), len(heard)
    while i:
        if j and table[i, j] == table[i - 1, j - 1] + (said[i - 1] != heard[j - 1]):
            i, j = i - 1, j - 1
            pairs.append((said[i], heard[j]))
        elif table[i, j] == table[i - 1, j] + 1:
            i -= 1
            pairs.append((said[i], NOTHING))
        else:
            j -= 1
    return pairs


def measure_confusions(bench: Bench, voices: tuple[Voice, ...], cache: Path, target: Path) -> None:
    """Count which phonemes the network writes for which, over phrases and word pairs in quiet and in fan noise."""
    said = {p.words: [sum(way, ()) for way in p.ways] for p in bench.table.phrases}
    for pair in corpus.word_pairs(40, 7):
        sounds = [sounds_of(word, bench.table) for word in pair.split()]
        said[pair] = [sum(way, ()) for way in itertools.islice(itertools.product(*sounds), 12)]
    counts: Counter[tuple[str, str]] = Counter()
    rng = np.random.default_rng(11)
    for voice in voices:
        for (_words, ways), sound in zip(said.items(), corpus.said(voice, list(said), cache), strict=True):
            padded = np.concatenate([np.zeros(RATE // 4), sound, np.zeros(RATE // 3)])
            noise = corpus.fan(rng, len(padded)) * 0.1 * 10 ** (-rng.choice([40, 20, 10]) / 20)
            rows = bench.net.phonemes((padded + noise).astype(np.float32))
            heard = [bench.net.symbols[i] for i in written(rows, bench.net.blank, bench.net.boundary)]
            counts.update(aligned(min(ways, key=lambda way: edit_distance(heard, way)), heard))
    totals: Counter[str] = Counter()
    for (one, _), count in counts.items():
        totals[one] += count
    lines = [
        "# Said, written by the network instead, share. Made by: tests/bench/bench_voice.py --confusions THIS-FILE"
    ]
    for (one, other), count in sorted(counts.items()):
        if count >= 2 and totals[one] >= 10:
            lines.append(f"{one}\t{other}\t{count / totals[one]:.4f}")
    target.write_text("\n".join(lines) + "\n", encoding="utf-8")


def options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("cases", nargs="?", type=Path, help="folder of recordings with a truth.json")
    parser.add_argument("--cache", type=Path, default=Path.home() / ".cache" / "benchguide-voice-bench")
    parser.add_argument(
        "--hours", type=float, default=1.7, help="synthetic running speech (human prompts come on top)"
    )
    parser.add_argument("--noise-hours", type=float, default=1.0)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--net", choices=("hama", "pocketsphinx"))
    parser.add_argument("--strict", action="store_true", help="the limits for a room with talk in it")
    parser.add_argument("--numbers-on", action="store_true")
    parser.add_argument(
        "--only", nargs="+", choices=PARTS, default=PARTS, metavar="PART", help=" ".join(PARTS)
    )
    parser.add_argument("--conditions", nargs="+", choices=CONDITIONS, metavar="CONDITION")
    parser.add_argument("--no-baseline", action="store_true", help="measure without pocketsphinx beside it")
    parser.add_argument("--show", action="store_true", help="print what was missed")
    parser.add_argument(
        "--confusions", type=Path, metavar="FILE", help="count them with the tuning voices, and end"
    )
    parser.add_argument("--dev", action="store_true", help="the voices for tuning, not the ones for judging")
    args = parser.parse_args()
    if args.short:
        args.hours, args.noise_hours = 0.01, 1 / 12
    args.conditions = args.conditions or (tuple(HEARD_BARS) if args.short else CONDITIONS)
    return args


def main() -> int:
    args = options()
    wanted = corpus.DEV if args.dev else corpus.TEST + corpus.MORE
    every_voice = corpus.available(wanted)
    left_out = [v.name for v in wanted if v not in every_voice]
    print(
        f"voices: {', '.join(v.name for v in every_voice)}"
        + (f"; left out: {', '.join(left_out)}" if left_out else "")
    )
    every_voice = every_voice[:9:4] if args.short else every_voice
    voices = tuple(v for v in every_voice if v not in corpus.MORE)
    bench, table = Bench(args.net, not args.no_baseline, args.strict), Table(not args.no_baseline)
    print(f"network: {bench.net.name}")
    if args.confusions:
        measure_confusions(bench, corpus.available(corpus.DEV)[:5], args.cache, args.confusions)
        return 0
    if "commands" in args.only:
        measure_commands(bench, table, every_voice, args)
    if "numbers" in args.only:
        measure_numbers(bench, table, every_voice, args)
    if "running" in args.only:
        measure_running(bench, table, voices, args)
    if "noise" in args.only:
        measure_noise(bench, table, voices, args)
    if "load" in args.only:
        measure_load(Bench(args.net, baseline=False), table, voices, args.cache, args.short)
    if args.cases and "cases" in args.only:
        measure_cases(bench, table, args.cases, args.show)
    return 1 if table.missed else 0


if __name__ == "__main__":
    sys.exit(main())
