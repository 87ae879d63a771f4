#include "battery.h"

#include <avr/io.h>

#include "config.h"

namespace motionhub {
namespace board {

namespace {

// The battery's voltage that gives the converter's 1024.
constexpr uint32_t FULL_MV = uint32_t(ADC_REFERENCE_MV) *
                             (uint32_t(DIVIDER_TOP_OHM_BY_10) + DIVIDER_BOTTOM_OHM_BY_10) / DIVIDER_BOTTOM_OHM_BY_10;
static_assert(FULL_MV < 65536, "the battery's mV fit 16 bits");

uint16_t measured = 0;

void begin_measuring() { ADCSRA = static_cast<uint8_t>(ADCSRA | _BV(ADSC)); }

void take_measured() {
    while (ADCSRA & _BV(ADSC)) {
    }
    const uint16_t value = ADC;
    measured = static_cast<uint16_t>((value * FULL_MV + 512) >> 10);
}

}  // namespace

void begin_battery() {
    // AVcc is the reference; inputs 8 to 15 have a bit elsewhere; 125 kHz, for the data sheet asks for 50 to 200.
    ADMUX = static_cast<uint8_t>(_BV(REFS0) | (BATTERY_PIN & 7));
    ADCSRB = BATTERY_PIN & 8 ? _BV(MUX5) : 0;
    ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
    // The first conversion after switching on is not to be relied on.
    for (uint8_t i = 0; i < 2; ++i) {
        begin_measuring();
        take_measured();
    }
    begin_measuring();
}

uint16_t battery_mv() {
    take_measured();  // over long ago
    begin_measuring();
    return measured;
}

}  // namespace board
}  // namespace motionhub
