#include "crc.h"

#include "platform.h"

namespace motionhub {

namespace {

constexpr uint32_t POLYNOMIAL = 0x5D6DCB;

constexpr uint32_t shifted(uint32_t state, uint8_t bits) {
    return bits == 0 ? state
                     : shifted(((state & 0x800000) != 0 ? state << 1 ^ POLYNOMIAL : state << 1) & 0xFFFFFF,
                               static_cast<uint8_t>(bits - 1));
}

// What a byte leaves after eight shifts, most significant byte first. 768 bytes of program memory make it several times
// faster than shifting, and a packet that fits no session is checked twice.
#define ENTRY(n)                                          \
    {                                                     \
        static_cast<uint8_t>(shifted((n) << 16, 8) >> 16),    \
        static_cast<uint8_t>(shifted((n) << 16, 8) >> 8 & 255), \
        static_cast<uint8_t>(shifted((n) << 16, 8) & 255),    \
    }
#define ENTRIES_4(n) ENTRY(n), ENTRY((n) + 1), ENTRY((n) + 2), ENTRY((n) + 3)
#define ENTRIES_16(n) ENTRIES_4(n), ENTRIES_4((n) + 4), ENTRIES_4((n) + 8), ENTRIES_4((n) + 12)
#define ENTRIES_64(n) ENTRIES_16(n), ENTRIES_16((n) + 16), ENTRIES_16((n) + 32), ENTRIES_16((n) + 48)

constexpr uint8_t LEFT[256][3] MOTIONHUB_TABLE = {
    ENTRIES_64(uint32_t(0)), ENTRIES_64(uint32_t(64)), ENTRIES_64(uint32_t(128)), ENTRIES_64(uint32_t(192)),
};

}  // namespace

void Crc24::add(uint8_t byte) {
    const uint8_t* left = LEFT[high_ ^ byte];
    high_ = static_cast<uint8_t>(middle_ ^ table_u8(left));
    middle_ = static_cast<uint8_t>(low_ ^ table_u8(left + 1));
    low_ = table_u8(left + 2);
}

}  // namespace motionhub
