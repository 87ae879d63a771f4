"""The robot's memory: the power cut at every write, and every bit of it turned over; the core and its twin alike."""

import random

import pytest
from core_twin import Core, CutMemory, PowerCutError
from crccheck.crc import Crc24FlexrayA

from motionhub.link import wire
from motionhub.link.keeper import SLOTS_AT, Keeper
from motionhub.link.kept import PIECE, SAID, Export, Said, digest, pieces, read_kept
from motionhub.link.wire import Packet, ResetCause

MV = 8000


def image(export: Export, seed: int) -> bytes:
    """Settings that the robot takes."""
    rng = random.Random(seed)
    out = b""
    whose = rng.sample(range(len(export.joints)), len(export.joints)) if seed % 2 else range(len(export.joints))
    for joint in whose:
        line = export.joints[joint]
        low, high = line.hard_low + rng.randrange(50), line.hard_high - rng.randrange(50)
        value = low | high << 12 | rng.randrange(1 << 12) << 24 | rng.randrange(2) << 36 | rng.randint(512, 2047) << 37
        out += (value | joint << 48).to_bytes(7, "little")
    return out


def settings(image: bytes) -> list[bytes]:
    """Bodies of the packets that have it kept, numbered from 1."""
    count = pieces(len(image))
    bodies = [bytes((0x50, i + 1, i)) + image[PIECE * i :][:PIECE] for i in range(count)]
    return [*bodies, bytes((0x51, count + 1)) + digest(image)]


class Bench:
    """A core and a twin's keeper on memories that begin alike."""

    def __init__(self, pair) -> None:
        both = pair()
        self.core: Core = both.core
        self.export: Export = both.twin._export
        self.memory = CutMemory()
        self.memory.bytes[:] = bytes(self.core.eeprom)
        self.keeper = Keeper(self.export, self.memory)
        self.hub_session = 50

    def restart(self) -> None:
        """After a cut, or for a new beginning; the boot counter is the twin's business elsewhere."""
        self.core.cut(-1, 0)
        self.memory.writes_left = -1
        self.core.begin(ResetCause.POWER)
        self.memory.bytes[:SLOTS_AT] = bytes(self.core.eeprom)[:SLOTS_AT]
        self.keeper = Keeper(self.export, self.memory)

    def offer(self, image: bytes, cut: int = -1, torn: int = 0) -> bool:
        """Have both keep it, without pulses; whether the power lasted."""
        self.hub_session += 1
        hello = wire.Hello(self.hub_session, self.core.joints, self.core.outputs_n)
        said = self.core.receive(wire.seal(hello.body()), 0)
        (encoded, *_) = wire.Splitter().feed(said)
        welcome = wire.read_welcome(wire.unseal(encoded))
        key = wire.Key(welcome.session, welcome.robot_session)
        for number, body in enumerate(settings(image), start=1):
            self.core.receive(wire.seal(body, key.bytes_for(number)), 0)
            self.keeper.take(Packet(body, 0))
        self.core.cut(cut, torn)
        self.memory.writes_left, self.memory.torn = cut, torn
        lasted = True
        for _ in range(400):
            self.core.tick(MV)
            if not lasted:
                continue
            try:
                if self.keeper.period() is not None:
                    self.keeper.use()
            except PowerCutError:
                lasted = False
        assert self.core.off is not lasted
        return lasted

    def same(self) -> None:
        assert bytes(self.core.eeprom)[SLOTS_AT:] == bytes(self.memory.bytes)[SLOTS_AT:]
        assert self.core.limits == self.keeper.limits

    def limits(self, image: bytes):
        records = self.export.records(image)
        assert records is not None
        return self.export.limits(records)


BEFORE = {"nothing kept": 0, "one kept": 1, "two kept": 2, "many kept": 300}


@pytest.mark.parametrize("before", BEFORE)
def test_the_power_goes_at_every_write(pair, before):
    """Whatever byte it tears, and whatever that byte then holds: after it the old settings are in use, or the new."""
    bench = Bench(pair)
    old = bench.export.image
    for i in range(min(BEFORE[before], 5)):
        old = image(bench.export, i)
        assert bench.offer(old)
        bench.restart()
    if BEFORE[before] > 5:
        # Generations wrap at 256: as if there had been 255 of them.
        start = SLOTS_AT + (bench.core._c.constant_kept_end() - SLOTS_AT) // 2 * bench.keeper._newest
        wrapped = bytes((255,)) + bytes(bench.core.eeprom)[start + 2 : start + 5] + old
        for memory in (bench.core.eeprom, bench.memory.bytes):
            memory[start + 1 : start + 1 + len(wrapped) + 3] = wrapped + digest(wrapped)
        other = SLOTS_AT if start != SLOTS_AT else bench.keeper._at(1)
        inner = bytes((254,)) + wrapped[1:4] + bytes(bench.core.eeprom)[other + 5 : other + 5 + len(old)]
        for memory in (bench.core.eeprom, bench.memory.bytes):
            memory[other + 1 : other + 1 + len(inner) + 3] = inner + digest(inner)
        bench.restart()
    bench.same()
    assert bench.core.limits == bench.limits(old)
    kept = bytes(bench.core.eeprom)
    new = image(bench.export, 1000)
    writes = bench.core.writes
    assert bench.offer(new)
    writes = bench.core.writes - writes
    assert writes >= 90
    outcomes = set()
    rng = random.Random(before)
    for cut in range(writes + 1):
        # All four once; the marker's own value, which is the worst that a torn byte can hold, and any, every time.
        for torn in {0xA5, rng.randrange(256), *((0x00, 0xFF) if before == "one kept" else ())}:
            bench.core.eeprom[:] = kept
            bench.memory.bytes[:] = kept
            bench.restart()
            lasted = bench.offer(new, cut, torn)
            assert lasted == (cut == writes)
            bench.restart()
            bench.same()
            assert bench.core.limits in (bench.limits(old), bench.limits(new)), (cut, torn)
            outcomes.add(bench.core.limits == bench.limits(new))
            # A marker that was torn cannot be told from damage; all else is an unfinished write and no fault.
            assert not bench.keeper.damaged or cut in (0, writes - 1), (cut, torn)
    assert outcomes == {False, True}
    # And the memory is as good as ever.
    assert bench.offer(old if BEFORE[before] else image(bench.export, 3))
    bench.restart()
    bench.same()


def test_what_is_in_use_is_said_while_the_other_slot_is_written(pair):
    """Byte by byte what the export has, and then what was kept, also while something else is being written."""
    bench = Bench(pair)
    number = 100
    for seed in (0, 1, 2):
        in_use = image(bench.export, seed) if seed else bench.export.image
        if seed:
            assert bench.offer(in_use)
        bench.hub_session += 1
        hello = wire.Hello(bench.hub_session, bench.core.joints, bench.core.outputs_n)
        (encoded, *_) = wire.Splitter().feed(bench.core.receive(wire.seal(hello.body()), 0))
        welcome = wire.read_welcome(wire.unseal(encoded))
        key = wire.Key(welcome.session, welcome.robot_session)
        for body in settings(image(bench.export, 77)):
            bench.core.receive(wire.seal(bytes((body[0], number)) + body[2:], key.bytes_for(number)), 0)
            number += 1
        for _ in range(20):
            bench.core.tick(MV)
        pieces_said = []
        for piece in range(pieces(len(in_use)) + 1):
            said = bench.core.receive(wire.seal(bytes((0x52, number, piece)), key.bytes_for(number)), 0)
            number += 1
            pieces_said += [
                read_kept(packet)
                for packet in map(wire.unseal, wire.Splitter().feed(said))
                if packet.kind == wire.Kind.KEPT and packet.low == SAID
            ]
        assert pieces_said == [
            Said(digest(in_use), piece, in_use[PIECE * piece :][:PIECE]) for piece in range(pieces(len(in_use)))
        ]
        bench.core.begin(ResetCause.POWER)
        bench.restart()


def test_every_bit_of_what_is_kept_turned_over(pair):
    """Never used; always said, unless the marker says that nothing was written there."""
    bench = Bench(pair)
    old, new = image(bench.export, 1), image(bench.export, 2)
    for each in (old, new):
        assert bench.offer(each)
        bench.restart()
    assert not bench.keeper.damaged
    kept = bytes(bench.core.eeprom)
    length = bench.keeper._length
    start = bench.keeper._at(bench.keeper._newest)
    for bit in range(8 * length):
        for memory in (bench.core.eeprom, bench.memory.bytes):
            memory[:] = kept
            memory[start + bit // 8] ^= 1 << bit % 8
        bench.restart()
        bench.same()
        assert bench.core.limits == bench.limits(old), bit
        assert bench.keeper.damaged, bit
    # Kept anew, the fault is over, and stays over after the next start.
    assert bench.offer(new)
    bench.restart()
    bench.same()
    assert bench.core.limits == bench.limits(new)
    assert not bench.keeper.damaged


def test_both_slots_damaged_are_mended_by_keeping(pair):
    bench = Bench(pair)
    for seed in (1, 2):
        assert bench.offer(image(bench.export, seed))
        bench.restart()
    for at in (bench.keeper._at(0) + 30, bench.keeper._at(1) + 30):
        bench.core.eeprom[at] ^= 4
        bench.memory.bytes[at] ^= 4
    bench.restart()
    bench.same()
    assert bench.keeper.damaged
    assert bench.core.limits == bench.limits(bench.export.image)
    assert bench.offer(image(bench.export, 3))
    for _ in range(2):
        bench.same()
        assert not bench.keeper.damaged
        assert bench.core.limits == bench.limits(image(bench.export, 3))
        bench.restart()


def test_a_slot_by_hand(pair):
    """Byte by byte as motionhub/link/kept.py has it; the check by crccheck."""
    bench = Bench(pair)
    kept = image(bench.export, 9)
    assert bench.offer(kept)
    inner = bytes((1,)) + bench.export.digest + kept
    by_hand = b"\xa5" + inner + Crc24FlexrayA.calc(inner).to_bytes(3, "big")
    assert bytes(bench.core.eeprom)[SLOTS_AT : SLOTS_AT + len(by_hand)] == by_hand


def test_what_is_kept_for_another_export_is_ignored_without_a_fault(pair):
    bench = Bench(pair)
    inner = bytes((1,)) + b"abc" + image(bench.export, 4)
    slot = b"\xa5" + inner + digest(inner)
    for memory in (bench.core.eeprom, bench.memory.bytes):
        memory[SLOTS_AT : SLOTS_AT + len(slot)] = slot
    bench.restart()
    bench.same()
    assert bench.core.limits == bench.limits(bench.export.image)
    assert not bench.keeper.damaged
