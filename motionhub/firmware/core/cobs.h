// Consistent Overhead Byte Stuffing, as motionhub/link/cobs.py has it.
#pragma once

#include <stdint.h>

namespace motionhub {

// Decodes in place: what is decoded is never longer than what it came from. Returns the decoded size, or -1 for
// bytes that no encoder wrote. `data` holds no zero byte.
int16_t cobs_decode(uint8_t* data, uint8_t size);

// Encodes at most 253 bytes into `out`, which has room for size + 1. Returns size + 1.
uint8_t cobs_encode(const uint8_t* data, uint8_t size, uint8_t* out);

}  // namespace motionhub
