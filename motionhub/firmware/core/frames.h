// Bodies of frame packets (full, difference, limp) to frames: the chip's half of motionhub/link/coder.py.
#pragma once

#include "history.h"

namespace motionhub {

// Reads a body whose check was good, first byte and number included. Returns false for one that is not made like
// a frame of this robot, or leans on a frame that is not held; then `out` holds nothing of use. `out` may be
// history.next(). Whether pulses lie within their limits is for the caller. `out.number` is left alone.
bool decode_frame(const uint8_t* body, uint8_t size, uint32_t number, const History& history, Frame& out);

}  // namespace motionhub
