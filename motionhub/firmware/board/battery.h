// The battery's voltage, through a divider and the chip's converter.
#pragma once

#include <stdint.h>

namespace motionhub {
namespace board {

// Waits for the first measurement, 0.4 ms.
void begin_battery();
// mV at the battery as last measured; begins the next measurement, so it is at most one call old. Waits for nothing.
uint16_t battery_mv();

}  // namespace board
}  // namespace motionhub
