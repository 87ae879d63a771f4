"""The core under strict warnings and sanitizers, and fuzzed there: ten seconds here, longer by MOTIONHUB_FUZZ_S."""

import os
import re
import subprocess

import core_build
import pytest

SECONDS = int(os.environ.get("MOTIONHUB_FUZZ_S", "10"))
SANITIZERS = ["-fsanitize=address,undefined", "-fno-sanitize-recover=all"]
# Odd numbers of joints leave half a byte over; the second output warns, the third is silenced.
SHAPE = core_build.invented(7, 3)

# A script to begin with, as fuzz.cpp reads it: hello, settings kept, a stretch of frames, silence, a watchdog's reset,
# hello, frames, an empty battery, a start, hello, limp, something that looks like differences, frames again, and some
# together.
EVENING = bytes.fromhex(
    "01 01 07 00 0a 08 78 0f 5a 28 00 00 00 05 c8 08 04 05 3c 01 01 08 00 0f 3c 09 01 02 03 06 fa 14"
    " 06 63 14 08 01 01 01 09 00 0f 32 07 03 41 02 00 00 0f 1e 08 04 06 00 00 02 3c 09 00 00 00 00 0f 32 09"
    " 04 80 01 00 05 04 04 c3 02 00 05 05 04 81 02 01 05 01 04 82 01 00 05 06"
)


def fuzzer(folder, shape=SHAPE):
    """The target, by clang with libFuzzer where that can be had, else with a loop of its own; and how to run it."""
    source = core_build.HERE / "fuzz.cpp"
    if core_build.able("clang++", *SANITIZERS, "-fsanitize=fuzzer"):
        flags = ["-O1", "-g", *SANITIZERS, "-fsanitize=fuzzer"]
        built = core_build.build(folder, shape, "clang++", flags, source, "fuzz", [])
        corpus = folder / "corpus"
        corpus.mkdir()
        (corpus / "an evening").write_bytes(EVENING)
        return [built, f"-max_total_time={SECONDS}", "-max_len=1000", "-len_control=10", "-timeout=20", corpus]
    if core_build.able("g++", *SANITIZERS):
        flags = ["-O1", "-g", *SANITIZERS, "-DOWN_LOOP"]
        return [core_build.build(folder, shape, "g++", flags, source, "fuzz", []), str(SECONDS)]
    pytest.skip("no compiler with sanitizers is on this machine, so the robot's program was not fuzzed")


def test_no_script_makes_the_core_do_what_it_must_not(tmp_path):
    done = subprocess.run(fuzzer(tmp_path), text=True, capture_output=True, cwd=tmp_path)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-6000:]
    runs = re.search(r"Done (\d+) runs", done.stdout + done.stderr)
    assert runs is not None
    print(f"{runs[1]} scripts in {SECONDS} s")
    assert int(runs[1]) > 2 * SECONDS  # or it hangs; how many there are is the machine's affair


@pytest.mark.parametrize("compiler", ["g++", "clang++"])
@pytest.mark.parametrize(("joints", "outputs"), [(1, 0), (48, 16)])
def test_the_smallest_and_the_largest_robot_build_without_a_warning(tmp_path, compiler, joints, outputs):
    if not core_build.able(compiler):
        pytest.skip(f"{compiler} is not on this machine")
    shape = core_build.invented(joints, outputs)
    core_build.build(tmp_path, shape, compiler, ["-O1", "-fPIC"], core_build.HERE / "host.cpp", "core.so", ["-shared"])


BREAKS = {
    "limits are not looked at": ("receiver.cpp", "if (limits_->within(i, frame.pulses[i])) continue;", "continue;"),
    "old numbers are taken": ("receiver.cpp", "if (number <= session->newest) {", "if (number == 0) {"),
    "the check is not compared": ("receiver.cpp", "return crc.is(buffer_ + body_size_);", "return true;"),
    "all joints start at once": ("controller.cpp", "if (!missing(i)) continue;", "if (!missing(i)) continue; ++left;"),
    "an empty pack goes on lighting": ("controller.cpp", "ended ? uint8_t(0) : asked_[i]", "asked_[i]"),
    "an export's ends are not looked at": ("kept.cpp", "record.high <= table_u16(&line.hard_high) &&", ""),
    "an empty battery is forgotten": (
        "controller.cpp",
        "if (activity_ == Activity::Lowering || activity_ == Activity::Ended) return;",
        "",
    ),
}


@pytest.mark.parametrize("broken", BREAKS)
def test_the_judge_sees_it_when(tmp_path, broken, monkeypatch):
    """The fuzzer's judge can say no: each of these breaks is found within seconds."""
    file, good, bad = BREAKS[broken]
    core = tmp_path / "core"
    core.mkdir()
    for source in core_build.CORE.iterdir():
        (core / source.name).write_text(source.read_text())
    text = (core / file).read_text()
    assert text.count(good) == 1
    (core / file).write_text(text.replace(good, bad))
    monkeypatch.setattr(core_build, "CORE", core)
    if not core_build.able("g++"):
        pytest.skip("g++ is not on this machine")
    flags = ["-O0", "-DOWN_LOOP", "-Wno-error"]
    built = core_build.build(tmp_path / "built", SHAPE, "g++", flags, core_build.HERE / "fuzz.cpp", "fuzz", [])
    done = subprocess.run([built, "20"], text=True, capture_output=True)
    assert done.returncode != 0
    assert "not so" in done.stderr
