#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"

namespace motionhub {
namespace board {

namespace {
void wait() {
    while (EECR & _BV(EEPE)) {
    }
}
}  // namespace

uint8_t eeprom_read(uint16_t at) {
    wait();
    EEAR = at;
    EECR |= _BV(EERE);
    return EEDR;
}

// The chip writes by itself, for 3.4 ms (data sheet, "Write EEPROM"); only the next access would wait for it.
void eeprom_write(uint16_t at, uint8_t value) {
    wait();
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        EEAR = at;
        EEDR = value;
        // These two within four cycles of each other.
        EECR = _BV(EEMPE);
        EECR |= _BV(EEPE);
    }
}

}  // namespace board
}  // namespace motionhub
