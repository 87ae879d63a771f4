// What the core asks of a board: a few plain functions, defined by the board's file.
#pragma once

#include <stdint.h>

namespace motionhub {
namespace board {

// Send one whole packet, at most 40 bytes; a packet for which there is no room is dropped whole, never waited for.
void write(const uint8_t* data, uint8_t size);

// EEPROM. The core uses places 0 to KEPT_END - 1 (kept.h). A write may wait for the write before it, not for itself:
// the core begins at most one in a tick, and two at the start.
uint8_t eeprom_read(uint16_t at);
void eeprom_write(uint16_t at, uint8_t value);

}  // namespace board
}  // namespace motionhub
