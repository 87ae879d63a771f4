// What the robot knows of its joints: the pulses of its own poses, and the ends that no pulse passes.
#pragma once

#include "config.h"

namespace motionhub {

struct Limits {
    uint16_t low[JOINTS];
    uint16_t high[JOINTS];
    uint16_t rest[JOINTS];
    uint16_t lowered[JOINTS];

    bool within(uint8_t joint, uint16_t pulse) const {
        return pulse == 0 || (low[joint] <= pulse && pulse <= high[joint]);
    }
};

}  // namespace motionhub
