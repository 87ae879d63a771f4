// Bytes to and from the radio: 8N1 on the UART that config.h names, both ways through rings that interrupts empty and fill.
#pragma once

#include <stdint.h>

namespace motionhub {
namespace board {

void begin_uart();

// Bytes that have come and were not taken yet. What comes while 255 wait is lost; the check then finds the packet damaged.
uint8_t waiting();
// The oldest of them; only if there is one.
uint8_t take();

}  // namespace board
}  // namespace motionhub
