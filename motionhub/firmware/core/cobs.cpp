#include "cobs.h"

namespace motionhub {

int16_t cobs_decode(uint8_t* data, uint8_t size) {
    uint8_t from = 0, to = 0;
    while (from < size) {
        const uint8_t code = data[from];
        if (code == 0 || code > size - from) return -1;
        const uint8_t end = static_cast<uint8_t>(from + code);
        for (++from; from < end; ++from) data[to++] = data[from];
        if (end == size) return to;
        if (code < 255) data[to++] = 0;
    }
    return -1;
}

uint8_t cobs_encode(const uint8_t* data, uint8_t size, uint8_t* out) {
    uint8_t start = 0, to = 1;
    for (uint8_t i = 0; i < size; ++i) {
        if (data[i] != 0) {
            out[to++] = data[i];
            continue;
        }
        out[start] = static_cast<uint8_t>(to - start);
        start = to++;
    }
    out[start] = static_cast<uint8_t>(to - start);
    return to;
}

}  // namespace motionhub
