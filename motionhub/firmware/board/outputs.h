// Lamps and sounders.
//
// A lamp on a pin that a timer can drive (2, 3, 5 to 10, 44 to 46) is dimmed by it, about 490 times a second; on any other pin
// it is switched, on from half of the full level. A sounder is switched: on at any level but 0.
#pragma once

#include <stdint.h>

namespace motionhub {
namespace board {

void begin_outputs();
// Levels 0 to 255, OUTPUTS of them.
void set_outputs(const uint8_t* levels);

}  // namespace board
}  // namespace motionhub
