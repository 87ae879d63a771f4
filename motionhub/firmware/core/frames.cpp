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

int16_t foretold(uint16_t base, uint16_t earlier, uint8_t back, uint8_t span) {
    const int32_t ahead = (int32_t(base) - int32_t(earlier)) * back;
    const int32_t line = int32_t(base) + ahead / span;  // toward zero
    return static_cast<int16_t>(line < 0 ? 0 : line > MOST_PULSE ? MOST_PULSE : line);
}

bool decode_difference(
    const uint8_t* body, uint8_t size, uint32_t number, const History& history, Frame& out) {
    Bits bits(body + 2, static_cast<uint8_t>(size - 2));
    const uint8_t back = body[0] & 15;
    const uint8_t span = static_cast<uint8_t>(bits.take(2)), k = static_cast<uint8_t>(bits.take(3));
    const bool changed = bits.bit();
    if (back == 0 || number <= back || (span != 0 && number <= uint32_t(back) + span)) return false;
    const Frame* base = history.find(number - back);
    const Frame* earlier = span != 0 ? history.find(number - back - span) : base;
    if (base == nullptr || base->limp || earlier == nullptr || earlier->limp) return false;
    for (uint8_t i = 0; i < OUTPUTS; ++i)
        out.outputs[i] = changed ? static_cast<uint8_t>(bits.take(8)) : base->outputs[i];
    for (uint8_t i = 0; i < JOINTS; ++i) {
        int16_t pulse = span != 0 ? foretold(base->pulses[i], earlier->pulses[i], back, span)
                                  : static_cast<int16_t>(base->pulses[i]);
        if (k != NOTHING_LEFT) {
            const uint16_t m = bits.code(k);
            pulse = static_cast<int16_t>(m & 1 ? pulse - static_cast<int16_t>((m + 1) >> 1)
                                               : pulse + static_cast<int16_t>(m >> 1));
        }
        if (pulse < 0 || pulse > static_cast<int16_t>(MOST_PULSE)) return false;
        out.pulses[i] = static_cast<uint16_t>(pulse);
    }
    return bits.finished();
}

}  // namespace

bool decode_frame(const uint8_t* body, uint8_t size, uint32_t number, const History& history, Frame& out) {
    if (size < 2) return false;
    const uint8_t kind = body[0] >> 4;
    out.limp = kind == static_cast<uint8_t>(Kind::Limp);
    if (kind == static_cast<uint8_t>(Kind::Difference)) return decode_difference(body, size, number, history, out);
    constexpr uint8_t PULSES = static_cast<uint8_t>((3 * uint16_t(JOINTS) + 1) / 2);
    if ((body[0] & 15) != 0 || size != 2 + OUTPUTS + (out.limp ? 0 : PULSES)) return false;
    for (uint8_t i = 0; i < OUTPUTS; ++i) out.outputs[i] = body[2 + i];
    if (out.limp) return true;
    const uint8_t* at = body + 2 + OUTPUTS;
    for (uint8_t i = 0; i < JOINTS; ++i) {
        if (i % 2 == 0) {
            out.pulses[i] = static_cast<uint16_t>(at[0] | (at[1] & 15) << 8);
        } else {
            out.pulses[i] = static_cast<uint16_t>(at[1] >> 4 | at[2] << 4);
            at += 3;
        }
    }
    return JOINTS % 2 == 0 || at[1] >> 4 == 0;
}

}  // namespace motionhub
