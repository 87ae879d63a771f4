// The frames that were taken, for later ones to lean on.
#pragma once

#include "config.h"

namespace motionhub {

constexpr uint8_t OUTPUT_ROOM = OUTPUTS ? OUTPUTS : 1;
// Frames kept: the same number as HELD in motionhub/link/receiver.py.
constexpr uint8_t HELD = 20;

// One tick's commands: pulses in µs, 0 for none; limp ends them all, and then they mean nothing.
struct Frame {
    uint32_t number;  // 0: an empty place
    bool limp;
    uint16_t pulses[JOINTS];
    uint8_t outputs[OUTPUT_ROOM];
};

// The last HELD frames. A frame is decoded into next(), and becomes part of the history by keep() only if all
// of it was good; so there is one place more, and nothing is ever copied.
class History {
  public:
    History() : newest_(0) { clear(); }
    void clear() {
        for (uint8_t i = 0; i <= HELD; ++i) frames_[i].number = 0;
    }
    // The frame of that number, or null when it is not held. Cost: HELD + 1 comparisons.
    const Frame* find(uint32_t number) const {
        if (number == 0) return nullptr;
        for (uint8_t i = 0; i <= HELD; ++i)
            if (frames_[i].number == number) return &frames_[i];
        return nullptr;
    }
    // Where the next frame is decoded to; its number is 0, so find() does not see it.
    Frame& next() {
        Frame& place = frames_[newest_ == HELD ? 0 : newest_ + 1];
        place.number = 0;
        return place;
    }
    void keep(uint32_t number) {
        newest_ = static_cast<uint8_t>(newest_ == HELD ? 0 : newest_ + 1);
        frames_[newest_].number = number;
    }

  private:
    Frame frames_[HELD + 1];
    uint8_t newest_;
};

}  // namespace motionhub
