// Bodies of frame packets to frames: the chip's half of motionhub/link/coder.py and differences.py.
#pragma once

#include "history.h"

namespace motionhub {

// Reads a body whose check was good, first byte and number included, into history.next(0) and so on. Returns how
// many frames it is, and the ticks from one to the next; none for one that is not made like frames of this robot,
// or leans on a frame that is not held: then what is in next() means nothing. Whether pulses lie within their limits
// is for the caller, and so is keeping them; `number` of the frames is left alone.
uint8_t decode_frames(const uint8_t* body, uint8_t size, uint32_t number, History& history, uint8_t* step);

}  // namespace motionhub
