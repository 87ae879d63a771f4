// Fuzzing the core: an input is a script of what can happen to a robot's program. With it runs a judge that knows
// the wire by its own simple code, one bit and one byte at a time, and says after every step whether what the core
// did was allowed:
//
// - no pulse lies outside the ends in use, nor those outside the servo's own; none before a frame was taken;
// - no frame is taken but the one whose packet has just ended, with a check that fits the newest or the pending session,
//   and a number above all before it in its session; a session that was left never comes back;
// - no more joints start in a tick than may; what eases by itself takes no step longer than it may; ended stays ended;
// - what is sent is framed, and not too long.
//
// With libFuzzer it is its target; built with OWN_LOOP it makes up scripts itself for as many seconds as it is told.
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <vector>

#include "cobs.h"
#include "robot.h"

using namespace motionhub;
typedef std::vector<uint8_t> Bytes;

#define REQUIRE(what)                                                             \
    do {                                                                          \
        if (!(what)) {                                                            \
            std::fprintf(stderr, "%s:%d: not so: %s\n", __FILE__, __LINE__, #what); \
            std::abort();                                                         \
        }                                                                         \
    } while (0)

namespace {

uint8_t eeprom[4096];
long writes_left;
std::vector<Bytes> said;

// -- the judge's own knowledge of the wire ------------------------------------------------------------------------

uint32_t check_of(const Bytes& data) {
    uint32_t state = 0xFEDCBA;
    for (size_t i = 0; i < data.size(); ++i)
        for (int bit = 7; bit >= 0; --bit) {
            const bool top = ((state >> 23 & 1U) ^ (static_cast<uint32_t>(data[i]) >> bit & 1U)) != 0;
            state = state << 1 & 0xFFFFFF;
            if (top) state ^= 0x5D6DCB;
        }
    return state;
}

Bytes key_bytes(uint16_t hub, uint16_t robot, uint32_t number) {
    const uint32_t parts[7] = {hub, hub / 256U, robot, robot / 256U, number >> 8, number >> 16, number >> 24};
    Bytes key;
    for (int i = 0; i < 7; ++i) key.push_back(static_cast<uint8_t>(parts[i] & 255));
    return key;
}

Bytes joined(Bytes a, const Bytes& b) {
    a.insert(a.end(), b.begin(), b.end());
    return a;
}

Bytes stuffed(const Bytes& data) {
    Bytes out(1, 1);
    size_t start = 0;
    for (size_t i = 0; i < data.size(); ++i) {
        if (data[i] == 0 || out[start] == 255) {
            start = out.size();
            out.push_back(1);
            if (data[i] == 0) continue;
        }
        out.push_back(data[i]);
        ++out[start];
    }
    return out;
}

bool unstuffed(const Bytes& data, Bytes* out) {
    out->clear();
    size_t at = 0;
    while (at < data.size()) {
        const size_t code = data[at];
        if (code == 0 || at + code > data.size()) return false;
        out->insert(out->end(), data.begin() + static_cast<long>(at + 1), data.begin() + static_cast<long>(at + code));
        at += code;
        if (at < data.size() && code < 255) out->push_back(0);
    }
    return !data.empty();
}

struct Session {
    uint16_t hub, robot;
    uint32_t newest;
    bool there;
};

struct Judge {
    Bytes raw;
    Session current, pending;

    // What a byte completes: 0, or the number of a packet of `kinds` that is new in its session.
    uint32_t byte(uint8_t value) {
        if (value != 0) {
            raw.push_back(value);
            return 0;
        }
        Bytes data;
        const bool whole = unstuffed(raw, &data);
        const bool fits_size = raw.size() <= 129 && data.size() > 3 && data.size() <= 128;
        raw.clear();
        if (!whole || !fits_size) return 0;
        const size_t n = data.size() - 3;
        const uint32_t check = static_cast<uint32_t>(data[n] << 16 | data[n + 1] << 8 | data[n + 2]);
        const Bytes body(data.begin(), data.begin() + static_cast<long>(n));
        const int kind = body[0] >> 4;
        if (kind == 0 || kind > 7 || kind == 4 || n < 2) return 0;
        Session* both[2] = {&current, &pending};
        for (int which = 0; which < 2; ++which) {
            Session& session = *both[which];
            if (!session.there) continue;
            // The one number with that low byte from 64 before the newest to 191 after it.
            uint32_t number = session.newest >= 64 ? session.newest - 64 : 0;
            while ((number & 255) != body[1]) ++number;
            if (check_of(joined(key_bytes(session.hub, session.robot, number), body)) != check) continue;
            const bool news = number > session.newest;
            if (news) session.newest = number;
            if (which == 1) {
                current = pending;
                pending.there = false;
            }
            return news && kind != 5 ? number : 0;
        }
        return 0;
    }
};

// -- scripts --------------------------------------------------------------------------------------------------

struct Script {
    const uint8_t* at;
    const uint8_t* end;
    bool more() const { return at != end; }
    uint8_t byte() { return at == end ? uint8_t(0) : *at++; }
    uint16_t word() {
        const unsigned low = byte();
        return static_cast<uint16_t>(low | static_cast<unsigned>(byte()) << 8);
    }
};

class Stage {
  public:
    explicit Stage(Script& script) : script_(script), now_(0), framed_(false), ended_(false) {
        std::memset(eeprom, 0xFF, sizeof eeprom);
        writes_left = -1;
        judge_.current = judge_.pending = Session();
        std::memset(&survivor_, 0, sizeof survivor_);
        begin(ResetCause::Power);
    }

    void play() {
        for (int steps = 0; script_.more() && steps < 400; ++steps) step();
    }

  private:
    void begin(ResetCause cause) {
        writes_left = -1;
        robot_.begin(cause, survivor_);
        judge_.raw.clear();
        judge_.current = judge_.pending = Session();
        const Activity activity = robot_.activity();
        framed_ = cause == ResetCause::Watchdog && activity != Activity::Off;
        ended_ = activity == Activity::Ended;
        look();
    }

    void look() {
        const Limits& limits = robot_.limits();
        for (uint8_t i = 0; i < JOINTS; ++i) {
            // Which servo is at a connector the settings say; it must be one that stands these ends.
            bool stands = false;
            for (uint8_t j = 0; j < JOINTS; ++j) {
                const JointLine& line = JOINT_TABLE[j];
                stands = stands || (line.hard_low <= limits.low[i] && limits.high[i] <= line.hard_high);
            }
            REQUIRE(stands && limits.low[i] < limits.high[i]);
            REQUIRE(limits.low[i] <= limits.rest[i] && limits.rest[i] <= limits.high[i]);
            REQUIRE(limits.low[i] <= limits.lowered[i] && limits.lowered[i] <= limits.high[i]);
            const uint16_t pulse = robot_.pulses()[i];
            REQUIRE(pulse == 0 || (limits.low[i] <= pulse && pulse <= limits.high[i]));
            REQUIRE(pulse == 0 || (framed_ && !ended_));
        }
        if (robot_.activity() == Activity::Ended) ended_ = true;
        REQUIRE(!ended_ || robot_.activity() == Activity::Ended);
        for (size_t i = 0; i < said.size(); ++i) {
            const Bytes& packet = said[i];
            REQUIRE(packet.size() >= 6 && packet.size() <= 40 && packet.back() == 0);
            REQUIRE(std::memchr(packet.data(), 0, packet.size()) == &packet.back());
            Bytes body;
            REQUIRE(unstuffed(Bytes(packet.begin(), packet.end() - 1), &body));
            if (body[0] >> 4 == 8) welcome(body);
        }
        said.clear();
    }

    void welcome(const Bytes& body) {
        REQUIRE(body.size() == 15);
        const uint32_t check = static_cast<uint32_t>(body[12] << 16 | body[13] << 8 | body[14]);
        REQUIRE(check_of(Bytes(body.begin(), body.begin() + 12)) == check);
        if ((body[0] & 1) == 0) return;
        Session session = Session();
        session.hub = static_cast<uint16_t>(body[2] | body[3] << 8);
        session.robot = static_cast<uint16_t>(body[4] | body[5] << 8);
        session.there = true;
        const bool known = (judge_.current.there && judge_.current.hub == session.hub) ||
                           (judge_.pending.there && judge_.pending.hub == session.hub);
        if (!known) judge_.pending = session;
    }

    void feed(const Bytes& bytes) {
        for (size_t i = 0; i < bytes.size(); ++i) {
            const uint32_t before = robot_.taken();
            const Session session = judge_.current;
            robot_.byte_in(bytes[i], now_);
            const uint32_t allowed = judge_.byte(bytes[i]);
            const uint32_t taken = robot_.taken();
            const bool same_session = session.there && session.robot == judge_.current.robot;
            if (taken != before) {
                REQUIRE(taken == allowed || (taken == 0 && !same_session));
                REQUIRE(!same_session || taken > before);
            }
            if (bytes[i] != 0) continue;  // only the end of a packet can have changed anything else
            if (taken != 0) framed_ = true;
            look();
            // A hello must be answered before the next byte, or two in a row would be one to the judge.
            robot_.answer(now_);
            look();
        }
    }

    void tick(uint16_t mv) {
        uint16_t before[JOINTS];
        std::memcpy(before, robot_.pulses(), sizeof before);
        robot_.tick(mv);
        unsigned started = 0;
        const bool easing = robot_.activity() == Activity::Quiet || robot_.activity() == Activity::Lowering;
        for (uint8_t i = 0; i < JOINTS; ++i) {
            const uint16_t now = robot_.pulses()[i];
            if (before[i] == 0 && now != 0) ++started;
            if (easing && before[i] != 0) REQUIRE(now + 10 >= before[i] && before[i] + 10 >= now);
        }
        REQUIRE(started <= START_AT_ONCE);
        if (easing) REQUIRE(started == 0);
        for (uint8_t i = 0; i < OUTPUTS; ++i)
            if ((robot_.activity() == Activity::Quiet && OUTPUT_TABLE[i].silenced) ||
                (robot_.activity() == Activity::Ended && !OUTPUT_TABLE[i].warns))
                REQUIRE(robot_.outputs()[i] == 0);
        now_ += 20;
        robot_.answer(now_);
        look();
    }

    const Session& session() const { return judge_.pending.there ? judge_.pending : judge_.current; }

    void send(const Bytes& body, uint32_t number, bool keyed) {
        const Bytes key = keyed ? key_bytes(session().hub, session().robot, number) : Bytes();
        const uint32_t check = check_of(joined(key, body));
        Bytes whole = body;
        for (int shift = 16; shift >= 0; shift -= 8) whole.push_back(static_cast<uint8_t>(check >> shift & 255));
        Bytes packet = stuffed(whole);
        if (flip_ != 0) packet[flip_ % packet.size()] ^= static_cast<uint8_t>(1 << flip_ % 7);
        flip_ = 0;
        packet.push_back(0);
        if (sent_.size() < 64) sent_.push_back(packet);
        feed(packet);
    }

    Bytes head(int kind, int low, uint32_t number) const {
        Bytes body(1, static_cast<uint8_t>(kind << 4 | low));
        body.push_back(static_cast<uint8_t>(number & 255));
        return body;
    }

    // A whole frame; `bend` says by how much it is off the rest pose, and 255 that a pulse may be anything.
    Bytes full(uint32_t number, uint8_t bend) {
        Bytes body = head(1, 0, number);
        // Not from the script: a stretch of frames would eat up what is to come after it.
        for (uint8_t i = 0; i < OUTPUTS; ++i) body.push_back(static_cast<uint8_t>(bend * 3U + i));
        unsigned pulses[JOINTS + 1] = {0};
        for (uint8_t i = 0; i < JOINTS; ++i) {
            const Limits& limits = robot_.limits();
            const unsigned span = static_cast<unsigned>(limits.high[i] - limits.low[i]);
            pulses[i] = bend == 255 ? script_.word() & 4095U : limits.low[i] + (bend * 37U + i) % (span + 1U);
            if (bend % 16 == 15 && i == bend / 16 % JOINTS) pulses[i] = 0;
        }
        for (uint8_t i = 0; i < JOINTS; i = static_cast<uint8_t>(i + 2)) {
            const unsigned a = pulses[i], b = pulses[i + 1];
            body.push_back(static_cast<uint8_t>(a & 255));
            body.push_back(static_cast<uint8_t>(a >> 8 | (b & 15) << 4));
            if (i + 1 < JOINTS) body.push_back(static_cast<uint8_t>(b >> 4));
        }
        return body;
    }

    void hello(uint16_t hub, bool right) {
        Bytes body = head(4, 0, WIRE_VERSION);
        const unsigned rest[] = {hub & 255U, hub / 256U, JOINTS, right ? OUTPUTS : 77U, 20, 0, 10};
        for (size_t i = 0; i < 7; ++i) body.push_back(static_cast<uint8_t>(rest[i]));
        send(body, 0, false);
    }

    void settings(uint8_t seed, uint8_t part) {
        Bytes image;
        for (uint8_t i = 0; i < JOINTS; ++i) {
            const unsigned whose = seed % 16 == 7 ? JOINTS + seed / 16U - i % 2U : (i + seed / 32U) % JOINTS;
            const uint8_t own = static_cast<uint8_t>(whose % JOINTS);
            // Some are wider than the servo, at one end or the other.
            const unsigned low = JOINT_TABLE[own].hard_low + seed % 50U - (seed % 16 == 4 ? 50U : 0U);
            const unsigned high = JOINT_TABLE[own].hard_high - seed / 8U + (seed % 16 == 5 ? 40U : 0U);
            const unsigned trim = (seed * 31U + i * 7U) & 4095U;
            const unsigned scale = (seed % 16 == 6 ? 500U : 512U) + seed * 6U;
            image.push_back(static_cast<uint8_t>(low & 255));
            image.push_back(static_cast<uint8_t>(low >> 8 | (high & 15) << 4));
            image.push_back(static_cast<uint8_t>(high >> 4));
            image.push_back(static_cast<uint8_t>(trim & 255));
            image.push_back(static_cast<uint8_t>(trim >> 8 | (seed + i) % 2U << 4 | (scale & 7) << 5));
            image.push_back(static_cast<uint8_t>(scale >> 3));
            image.push_back(static_cast<uint8_t>(whose));
        }
        if (seed % 16 == 3) image[seed % image.size()] ^= 0x80;
        const uint32_t number = session().newest + 1;
        const unsigned pieces = static_cast<unsigned>(image.size() + 27) / 28;
        const unsigned piece = part % (pieces + 2);
        Bytes body = head(5, piece < pieces ? 0 : piece == pieces ? 1 : 2, number);
        if (piece > pieces) {
            body.push_back(static_cast<uint8_t>(seed % (pieces + 1)));  // asked for, and there or not
        } else if (piece == pieces) {
            const uint32_t digest = check_of(image);
            for (int shift = 16; shift >= 0; shift -= 8) body.push_back(static_cast<uint8_t>(digest >> shift & 255));
        } else {
            body.push_back(static_cast<uint8_t>(piece));
            for (size_t i = 28 * piece; i < image.size() && i < 28 * piece + 28; ++i) body.push_back(image[i]);
        }
        send(body, number, true);
    }

    void step() {
        const uint8_t what = script_.byte(), n = script_.byte();
        const uint32_t next = session().newest + 1;
        switch (what % 16) {
            case 0: {
                Bytes noise;
                for (unsigned i = 0; i < n; ++i) noise.push_back(script_.byte());
                feed(noise);
                break;
            }
            case 1:
                hello(script_.word(), n % 8 != 0);
                break;
            case 2:
                send(full(next + n % 4, script_.byte()), next + n % 4, true);
                break;
            case 3: {  // any number, any kind, any body
                const uint32_t number = session().newest + n - 64;
                Bytes body = head(1 + script_.byte() % 7, script_.byte() & 15, number);
                for (unsigned size = script_.byte() % 80U; size != 0; --size) body.push_back(script_.byte());
                send(body, number, true);
                break;
            }
            case 4: {  // differences of one to three frames: a head that may be right, then bits
                const unsigned more = script_.byte() % 3U;
                const unsigned step = more != 0 && n & 64 ? 2 : 1;
                const uint32_t last = next + more * step;
                Bytes body = head(more == 0 ? 2 : static_cast<int>(5 + more), 1 + script_.byte() % 3, last);
                if (n & 128) {
                    // As the base, each of them, or along a line: a head of eight bits and then of six, with k = 7
                    uint32_t bits = 7U << 4;
                    for (unsigned i = 0; i < more; ++i) bits |= (7U << 2 | (n >> i & 1U)) << (8 + 6 * i);
                    if (more != 0) bits = bits << 1 | (step - 1);
                    for (unsigned size = 8 + 7 * more; size > 0; size = size > 8 ? size - 8 : 0, bits >>= 8)
                        body.push_back(static_cast<uint8_t>(bits & 255));
                    if (n & 32) body.back() ^= static_cast<uint8_t>(1 << script_.byte() % 8);
                } else {
                    for (unsigned size = 1 + n % 30U; size != 0; --size) body.push_back(script_.byte());
                }
                send(body, last, true);
                break;
            }
            case 5:
                for (unsigned i = 0; i < n; ++i) tick(8000);
                break;
            case 6: {
                const uint16_t mv = static_cast<uint16_t>(5000 + script_.byte() * 16U);
                for (unsigned i = 0; i < n; ++i) tick(mv);
                break;
            }
            case 7:
                now_ += static_cast<uint32_t>(n) << (script_.byte() % 24);
                robot_.answer(now_);
                look();
                break;
            case 8:
                if (n & 64) reinterpret_cast<uint8_t*>(&survivor_)[script_.byte() % sizeof survivor_] = script_.byte();
                begin(static_cast<ResetCause>(n % 5));
                break;
            case 9:
                settings(n, script_.byte());
                break;
            case 10: {
                for (unsigned part = 0; part < 16; ++part) settings(n, static_cast<uint8_t>(part));
                const uint8_t ticks = script_.byte();
                for (unsigned i = 0; i < ticks; ++i) tick(8000);
                break;
            }
            case 11:
                if (!sent_.empty()) feed(sent_[n % sent_.size()]);
                break;
            case 12:
                flip_ = n;
                break;
            case 13:
                eeprom[script_.byte() % KEPT_END] = n;
                break;
            case 14:
                writes_left = n;  // until the next start
                break;
            case 15: {
                const uint8_t bend = script_.byte();
                for (unsigned i = 0; i < n; ++i) {
                    send(full(session().newest + 1, bend), session().newest + 1, true);
                    tick(8000);
                }
                break;
            }
        }
    }

    Script& script_;
    Robot robot_;
    Survivor survivor_;
    Judge judge_;
    std::vector<Bytes> sent_;
    uint32_t now_;
    unsigned flip_ = 0;
    bool framed_, ended_;
};

}  // namespace

namespace motionhub {
namespace board {
void write(const uint8_t* data, uint8_t size) { said.push_back(Bytes(data, data + size)); }
uint8_t eeprom_read(uint16_t at) { return eeprom[at]; }
void eeprom_write(uint16_t at, uint8_t value) {
    REQUIRE(at < KEPT_END);
    if (writes_left == 0) return;
    if (writes_left > 0) --writes_left;
    eeprom[at] = value;
}
}  // namespace board
}  // namespace motionhub

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
    Script script = {data, data + size};
    said.clear();
    Stage(script).play();
    return 0;
}

#if defined(OWN_LOOP)
#include <chrono>

int main(int, char** arguments) {
    typedef std::chrono::steady_clock Clock;
    const Clock::time_point end = Clock::now() + std::chrono::seconds(std::atoi(arguments[1]));
    uint64_t state = 88172645463325252ULL;
    unsigned long runs = 0;
    for (; Clock::now() < end; ++runs) {
        Bytes script;
        state ^= state << 13, state ^= state >> 7, state ^= state << 17;
        for (size_t size = 20 + state % 400; size != 0; --size) {
            state ^= state << 13, state ^= state >> 7, state ^= state << 17;  // xorshift64 (Marsaglia, 2003)
            // A script begins with a hello, or little would follow.
            script.push_back(script.empty() ? uint8_t(1) : static_cast<uint8_t>(state >> 32));
        }
        LLVMFuzzerTestOneInput(script.data(), script.size());
    }
    std::printf("Done %lu runs\n", runs);
    return 0;
}
#endif
