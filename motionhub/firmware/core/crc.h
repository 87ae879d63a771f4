// The check at the end of every packet: CRC-24, as motionhub/link/crc.py explains it.
#pragma once

#include <stdint.h>

namespace motionhub {

// Three bytes of state rather than one number of 32 bits, which an 8-bit chip would have to shift.
class Crc24 {
  public:
    Crc24() : high_(0xFE), middle_(0xDC), low_(0xBA) {}
    void add(uint8_t byte);
    void add(const uint8_t* data, uint8_t size) {
        for (uint8_t i = 0; i < size; ++i) add(data[i]);
    }
    void add16(uint16_t value) {  // little-endian
        add(static_cast<uint8_t>(value & 255));
        add(static_cast<uint8_t>(value >> 8));
    }
    // The remainder, most significant byte first, as it goes over the wire.
    void put(uint8_t* out) const {
        out[0] = high_;
        out[1] = middle_;
        out[2] = low_;
    }
    bool is(const uint8_t* check) const { return check[0] == high_ && check[1] == middle_ && check[2] == low_; }

  private:
    uint8_t high_, middle_, low_;
};

}  // namespace motionhub
