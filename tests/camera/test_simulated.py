"""The simulated bench: deterministic, noisy like a sensor, and true to its scene."""

import threading
import time
from dataclasses import replace

import numpy as np
import pytest

from benchguide.camera import CameraState, CameraWorker, make_source, parse_source
from benchguide.camera.simulated import SHAPE_KINDS, Scene, Shape, SimulatedBench

SIZE = (640, 360)


@pytest.fixture
def scene():
    """A device with one shape of every kind; the cover hides the board and the cell."""
    shapes = (
        Shape("body", "body", 8, ((0, 0), (120, 70))),
        Shape("board", "board", 3, ((10, 8), (70, 50)), label="B1"),
        Shape("cell", "cell", 4, ((75, 8), (110, 50)), label="C1"),
        Shape("plug", "connector", 4, ((55, 20), (65, 24))),
        Shape("flex", "cable", 4, ((60, 22), (72, 30), (80, 30)), width_mm=5),
        Shape("wire", "cable", 4, ((20, 52), (40, 60)), width_mm=1, tone="red"),
        Shape("glue", "bond", 3, ((75, 54), (110, 54)), width_mm=2),
        Shape("pad", "loose", 3, ((10, 55), (30, 64))),
        Shape("unit", "module", 4, ((40, 54), (60, 66)), label="M1"),
        Shape("place", "hole", 8, ((4, 4),)),
        Shape("cover", "cover", 9, ((8, 6), (112, 52)), label="A"),
        Shape("screw", "screw", 10, ((12, 10),), diameter_mm=4),
    )
    assert {shape.kind for shape in shapes} == set(SHAPE_KINDS)
    return Scene(120, 70, 8, shapes)


def without(scene, *ids):
    return replace(scene, shapes=tuple(s for s in scene.shapes if s.id not in ids))


def pictures(scene, count, **options):
    bench = SimulatedBench(lambda: scene, size=SIZE, fps=200, **options)
    bench.open()
    return [bench.read().image for _ in range(count)]


def place(bench, scene, x, y, z):
    """Pixel of a point of the device."""
    p = bench.homography(scene, z) @ (x, y, 1)
    return round(p[0] / p[2]), round(p[1] / p[2])


def test_same_seed_same_pictures_other_seed_other_pictures(scene):
    one, same, other = pictures(scene, 5), pictures(scene, 5), pictures(scene, 5, seed=1)
    assert all(np.array_equal(a, b) for a, b in zip(one, same, strict=True))
    assert not np.array_equal(one[0], other[0])


def test_every_picture_differs_by_noise_and_sways_under_two_pixels(scene):
    seen = pictures(scene, 40)
    assert len({image.tobytes() for image in seen}) == 40
    noise = (seen[0].astype(int) - seen[1])[:40, :40].std()
    assert 1.0 < noise < 6.0
    bench = SimulatedBench(lambda: scene, size=SIZE)
    shifts = np.array([bench._sway_at(i) for i in range(3000)])
    assert 0.5 < np.abs(shifts).max() < 2.0


def test_the_mean_is_the_drawing_itself(scene):
    """Noise is added without making the picture brighter."""
    from benchguide.camera.bench_painter import paint

    mean = np.mean(pictures(scene, 30), axis=0)
    drawn = paint(scene, SIZE, 0)
    assert abs(mean[20:-20, 20:-20].mean() - drawn[20:-20, 20:-20].mean()) < 0.6


def test_taking_the_cover_off_shows_what_lies_under_it_and_nothing_else_moves(scene):
    from benchguide.camera.bench_painter import paint

    bench = SimulatedBench(lambda: scene, size=SIZE)
    closed, opened = paint(scene, SIZE), paint(without(scene, "cover", "screw"), SIZE)
    x, y = place(bench, scene, 40, 12, 3)
    blue, green, red = opened[y - 4 : y + 4, x - 4 : x + 4].reshape(-1, 3).mean(axis=0)
    assert green > 1.15 * max(red, blue), "the board is green"
    patch = closed[y - 4 : y + 4, x - 4 : x + 4].reshape(-1, 3).mean(axis=0)
    assert np.ptp(patch) < 20, "the cover is grey"
    x, y = place(bench, scene, 20, 60, 3)
    assert np.array_equal(closed[y - 3 : y + 3, x - 3 : x + 3], opened[y - 3 : y + 3, x - 3 : x + 3])
    assert np.array_equal(closed[:20], opened[:20])


def test_a_screw_is_bright_where_the_view_says_it_is(scene):
    from benchguide.camera.bench_painter import paint

    bench = SimulatedBench(lambda: scene, size=SIZE)
    x, y = place(bench, scene, 12, 10, 10)
    window = np.s_[y - 6 : y + 7, x - 6 : x + 7]
    changed = np.abs(paint(scene, SIZE)[window].astype(int) - paint(without(scene, "screw"), SIZE)[window])
    assert changed.mean() > 20


def test_drawing_on_from_a_kept_picture_equals_drawing_anew(scene):
    bench = SimulatedBench(lambda: scene, size=SIZE)
    for step in (
        scene,
        without(scene, "screw"),
        without(scene, "screw", "cover", "cell"),
        scene,
        without(scene, "body"),
    ):
        bench.prepare(step)
        fresh = SimulatedBench(lambda: scene, size=SIZE)
        fresh.prepare(step)
        assert np.array_equal(bench._drawn.moved(0, 0, SIZE), fresh._drawn.moved(0, 0, SIZE))


def test_a_photo_after_the_change_shows_the_change(scene, told):
    """The scene changes in another thread while pictures run; the shutter must not show the old one."""
    now = [scene]
    opened = without(scene, "cover", "screw")
    bench = SimulatedBench(lambda: now[0], size=SIZE, fps=60)
    worker = CameraWorker(lambda: bench, on_frame=told.frame, on_status=told.status)
    worker.start()
    try:
        told.wait_for(CameraState.LIVE)
        x, y = place(bench, scene, 40, 12, 3)
        for state, green in ((opened, True), (scene, False), (opened, True)):
            now[0] = state
            photo = worker.shutter(time.monotonic_ns()).image
            patch = photo[y - 4 : y + 4, x - 4 : x + 4].reshape(-1, 3).mean(axis=0)
            assert (patch[1] > 1.15 * patch[2]) is np.bool_(green)
    finally:
        assert worker.stop()


def test_scenes_may_be_prepared_from_several_threads(scene):
    bench = SimulatedBench(lambda: scene, size=SIZE)
    bench.open()
    opened = without(scene, "cover")
    threads = [threading.Thread(target=bench.prepare, args=(s,)) for s in (scene, opened) * 3]
    for thread in threads:
        thread.start()
    images = [bench.read().image for _ in range(3)]
    for thread in threads:
        thread.join()
    assert all(image.shape == (SIZE[1], SIZE[0], 3) for image in images)
    assert bench._draw(scene).scene == scene


@pytest.mark.parametrize("size", [(64, 48), (1920, 1080)])
@pytest.mark.parametrize(("w", "h"), [(5, 300), (300, 5), (2000, 1500), (1, 1)])
def test_any_size_and_odd_devices_are_drawn(size, w, h):
    shapes = (
        Shape("c", "cover", 5, ((0, 0), (w, h)), label="\u00e4 very long label that cannot fit at all"),
        Shape("b", "board", 2, ((-50, -50), (w + 50, 0.1))),
        Shape("s", "screw", 6, ((900, 900),)),
    )
    bench = SimulatedBench(lambda: Scene(w, h, 50, shapes), size=size)
    bench.open()
    assert bench.read().image.shape == (size[1], size[0], 3)


@pytest.mark.parametrize(
    "bad",
    [
        {"kind": "phone"},
        {"outline": ()},
        {"outline": ((1, 1),)},
        {"outline": ((float("nan"), 1), (2, 2))},
        {"z_mm": 1e9},
    ],
)
def test_a_shape_that_cannot_be_drawn_is_refused_by_name(bad):
    with pytest.raises(ValueError, match="part 7"):
        Shape(**({"id": "part 7", "kind": "cover", "z_mm": 1, "outline": ((0, 0), (1, 1))} | bad))


def test_it_is_made_like_the_others(scene):
    source = make_source(parse_source("simulated"), get_scene=lambda: scene)
    assert source.name == "Simulated bench"
    with pytest.raises(ValueError, match="open a procedure first"):
        make_source(parse_source("simulated"))


def test_a_shaken_stand_and_a_mirrored_lamp_are_what_the_photo_judge_says(scene):
    """The same drawing, spoilt in one way each; the place is the outline of the part that the lamp lies over."""
    from benchguide.camera.part_place import PartOutline, by_map
    from benchguide.camera.quality import PartShown, judge_photo
    from benchguide.camera.simulated import Disturbance, millimetres_to_pixels

    size = (1280, 720)
    open_ = without(scene, "cover")
    part = PartOutline("unit", ((40, 54), (60, 54), (60, 66), (40, 66)), 4)
    place = by_map(part, millimetres_to_pixels(open_, size), size)
    assert place is not None
    told = {}
    for name, spoilt in (
        ("none", Disturbance()),
        ("shaken", Disturbance(shaken_px=21)),
        ("glare", Disturbance(glare=(50, 60, 4))),
        ("beside", Disturbance(glare=(20, 20, 3))),
    ):
        source = SimulatedBench(lambda spoilt=spoilt: replace(open_, disturbed=spoilt), size=size)
        source.open()
        verdict = judge_photo(source.read().image, parts=(PartShown("unit", place),))
        told[name] = [reason.fault for reason in verdict.reasons]
    assert told == {"none": [], "shaken": ["shaken"], "glare": ["glare"], "beside": []}


def test_a_disturbance_has_bounds():
    from benchguide.camera.simulated import Disturbance

    for wrong in ({"shaken_px": -1}, {"shaken_px": float("nan")}, {"glare": (0, 0, float("inf"))}):
        with pytest.raises(ValueError, match=r"\.$"):
            Disturbance(**wrong)
