// What happens before the program begins, and why it began.
#pragma once

#include <stdint.h>

#include "wire.h"

namespace motionhub {
namespace board {

// Why the chip was reset: as its own register says, read before anything else ran. A boot loader may have cleared it
// before that, and then nobody knows: Unknown.
ResetCause reset_cause();

// RAM between the program's variables and the stack holds this until the stack has been there.
constexpr uint8_t UNTOUCHED = 0xC5;

}  // namespace board
}  // namespace motionhub
