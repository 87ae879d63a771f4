// The robot's program: the core on this board.
#pragma once

namespace motionhub {

// Never returns.
void run();

}  // namespace motionhub
