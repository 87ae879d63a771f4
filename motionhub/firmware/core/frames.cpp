#include "frames.h"

#include "wire.h"

namespace motionhub {

namespace {

// As in motionhub/link/differences.py, where they are explained.
constexpr uint8_t LONGEST = 12;
constexpr uint8_t PLAIN = 13;
constexpr uint8_t NOTHING_LEFT = 7;
constexpr uint16_t MOST_PULSE = 4095;

// Takes bits from the lowest of each byte on. Once it has run out, all further bits are zeros and good() is false.
class Bits {
  public:
    Bits(const uint8_t* data, uint8_t size) : at_(data), end_(data + size), byte_(0), left_(0), good_(true) {}
    bool bit() {
        if (left_ == 0) {
            if (at_ == end_) {
                good_ = false;
                return false;
            }
            byte_ = *at_++;
            left_ = 8;
        }
        const bool found = byte_ & 1;
        byte_ = static_cast<uint8_t>(byte_ >> 1);
        --left_;
        return found;
    }
    uint16_t take(uint8_t width) {
        uint16_t found = 0;
        for (uint8_t i = 0; i < width; ++i)
            if (bit()) found = static_cast<uint16_t>(found | 1U << i);
        return found;
    }
    uint16_t code(uint8_t k) {
        uint8_t ones = 0;
        while (ones < LONGEST && bit()) ++ones;
        if (ones == LONGEST) return take(PLAIN);
        return static_cast<uint16_t>(ones << k | take(k));
    }
    bool good() const { return good_; }
    // Whether nothing but zeros to the end of the last byte is left.
    bool finished() const { return good_ && at_ == end_ && byte_ == 0; }

  private:
    const uint8_t* at_;
    const uint8_t* end_;
    uint8_t byte_, left_;
    bool good_;
};

inline uint16_t share(uint8_t ticks) { return ticks == 1 ? uint16_t(65535) : static_cast<uint16_t>(65536 / ticks); }

// A curve through up to three earlier frames, newest first, and the ticks from each to the next.
class Curve {
  public:
    explicit Curve(const Frame* newest) : x2_(newest), x1_(nullptr), x0_(nullptr), h1_(0), h0_(0) {}
    void through(const Frame* second, const Frame* third, uint8_t span) {
        x1_ = second;
        x0_ = third;
        h1_ = h0_ = span;
    }
    // The next frame leans on this one too, which is `ticks` after the newest.
    void after(const Frame* frame, uint8_t ticks) {
        x0_ = x1_;
        x1_ = x2_;
        x2_ = frame;
        h0_ = h1_;
        h1_ = ticks;
    }
    bool has(uint8_t mode) const { return mode == 0 || (x1_ != nullptr && (mode == 1 || x0_ != nullptr)); }
    void prepare(uint8_t mode, uint8_t ticks) {
        mode_ = mode;
        ticks_ = ticks;
        if (mode == 0) return;
        share1_ = share(h1_);
        if (mode == 1) return;
        share0_ = share(h0_);
        const uint32_t weight = uint32_t(ticks) * uint8_t(ticks + h1_) * share(static_cast<uint8_t>(h1_ + h0_)) >> 8;
        weight_ = weight > 65535 ? uint16_t(65535) : static_cast<uint16_t>(weight);
    }
    int16_t at(uint8_t joint) const {
        const int32_t x2 = x2_->pulses[joint];
        if (mode_ == 0) return static_cast<int16_t>(x2);
        const int32_t x1 = x1_->pulses[joint];
        const int32_t slope = (x2 - x1) * share1_ >> 12;  // gcc shifts the sign along, as the twin rounds down
        int32_t ahead = slope * ticks_;
        if (mode_ > 1) {
            const int32_t before = (x1 - x0_->pulses[joint]) * share0_ >> 12;
            int32_t turn = slope - before;
            turn = turn > MOST_TURN ? MOST_TURN : turn < -MOST_TURN ? -MOST_TURN : turn;
            const int32_t bend = turn * weight_ >> 8;
            ahead += mode_ == 2 ? bend >> 1 : bend;
        }
        const int32_t line = x2 + ((ahead + 8) >> 4);
        return static_cast<int16_t>(line < 0 ? 0 : line > MOST_PULSE ? MOST_PULSE : line);
    }

  private:
    static constexpr int32_t MOST_TURN = 8191;
    const Frame* x2_;
    const Frame* x1_;
    const Frame* x0_;
    uint8_t h1_, h0_;
    uint8_t mode_ = 0, ticks_ = 0;
    int32_t share1_ = 0, share0_ = 0, weight_ = 0;
};

const Frame* moving(const History& history, uint32_t base, uint8_t before) {
    const Frame* found = base > before ? history.find(base - before) : nullptr;
    return found != nullptr && !found->limp ? found : nullptr;
}

bool decode_one(Bits& bits, uint8_t mode, uint8_t ticks, Curve& curve, const Frame& before, Frame& out) {
    if (!curve.has(mode)) return false;
    curve.prepare(mode, ticks);
    const uint8_t k = static_cast<uint8_t>(bits.take(3));
    const bool changed = bits.bit();
    out.limp = false;
    for (uint8_t i = 0; i < OUTPUTS; ++i)
        out.outputs[i] = changed ? static_cast<uint8_t>(bits.take(8)) : before.outputs[i];
    for (uint8_t i = 0; i < JOINTS; ++i) {
        int16_t pulse = curve.at(i);
        if (k != NOTHING_LEFT) {
            const uint16_t m = bits.code(k);
            pulse = static_cast<int16_t>(m & 1 ? pulse - static_cast<int16_t>((m + 1) >> 1)
                                               : pulse + static_cast<int16_t>(m >> 1));
        }
        if (pulse < 0 || pulse > static_cast<int16_t>(MOST_PULSE)) return false;
        out.pulses[i] = static_cast<uint16_t>(pulse);
    }
    return bits.good();
}

uint8_t decode_differences(
    const uint8_t* body, uint8_t size, uint8_t count, uint32_t number, History& history, uint8_t* step) {
    Bits bits(body + 2, static_cast<uint8_t>(size - 2));
    const uint8_t back = body[0] & 15;
    *step = static_cast<uint8_t>(count > 1 && bits.bit() ? 2 : 1);
    uint8_t mode = static_cast<uint8_t>(bits.take(2));
    const uint8_t span = static_cast<uint8_t>(bits.take(2));
    const uint8_t before_first = static_cast<uint8_t>((count - 1) * *step + back);
    if (back == 0 || number <= before_first) return 0;
    const uint32_t base = number - before_first;
    const Frame* before = moving(history, base, 0);
    if (before == nullptr) return 0;
    Curve curve(before);
    if (span != 0) {
        const Frame* second = moving(history, base, span);
        if (second == nullptr) return 0;
        curve.through(second, moving(history, base, static_cast<uint8_t>(2 * span)), span);
    }
    uint8_t ticks = back;
    for (uint8_t i = 0; i < count; ++i) {
        if (i != 0) mode = static_cast<uint8_t>(bits.take(2));
        Frame& out = history.next(i);
        if (!decode_one(bits, mode, ticks, curve, *before, out)) return 0;
        curve.after(&out, ticks);
        before = &out;
        ticks = *step;
    }
    return bits.finished() ? count : uint8_t(0);
}

}  // namespace

uint8_t decode_frames(const uint8_t* body, uint8_t size, uint32_t number, History& history, uint8_t* step) {
    if (size < 2) return 0;
    const uint8_t kind = body[0] >> 4;
    *step = 1;
    if (kind == static_cast<uint8_t>(Kind::Difference)) return decode_differences(body, size, 1, number, history, step);
    if (kind == static_cast<uint8_t>(Kind::Two)) return decode_differences(body, size, 2, number, history, step);
    if (kind == static_cast<uint8_t>(Kind::Three)) return decode_differences(body, size, 3, number, history, step);
    Frame& out = history.next(0);
    out.limp = kind == static_cast<uint8_t>(Kind::Limp);
    constexpr uint8_t PULSES = static_cast<uint8_t>((3 * uint16_t(JOINTS) + 1) / 2);
    if ((body[0] & 15) != 0 || size != 2 + OUTPUTS + (out.limp ? 0 : PULSES)) return 0;
    for (uint8_t i = 0; i < OUTPUTS; ++i) out.outputs[i] = body[2 + i];
    if (out.limp) return 1;
    const uint8_t* at = body + 2 + OUTPUTS;
    for (uint8_t i = 0; i < JOINTS; ++i) {
        if (i % 2 == 0) {
            out.pulses[i] = static_cast<uint16_t>(at[0] | (at[1] & 15) << 8);
        } else {
            out.pulses[i] = static_cast<uint16_t>(at[1] >> 4 | at[2] << 4);
            at += 3;
        }
    }
    return JOINTS % 2 == 0 || at[1] >> 4 == 0 ? 1 : 0;
}

}  // namespace motionhub
