// The frames that were taken, for later ones to lean on.
#pragma once

#include "config.h"

namespace motionhub {

constexpr uint8_t OUTPUT_ROOM = OUTPUTS ? OUTPUTS : 1;
// Frames kept: the same number as HELD in motionhub/link/receiver.py.
constexpr uint8_t HELD = 20;
// Frames in one packet.
constexpr uint8_t MOST_TOGETHER = 3;

// One tick's commands: pulses in µs, 0 for none; limp ends them all, and then they mean nothing.
struct Frame {
    uint32_t number;  // 0: an empty place
    bool limp;
    uint16_t pulses[JOINTS];
    uint8_t outputs[OUTPUT_ROOM];
};

// The last HELD frames. Those of a packet are decoded into next(), and become part of the history by keep() only if
// all of them were good; so there are a packet's places more, and nothing is ever copied. A frame stays where it
// is until HELD more were kept.
class History {
  public:
    History() : newest_(0) { clear(); }
    void clear() {
        for (uint8_t i = 0; i < PLACES; ++i) frames_[i].number = 0;
    }
    // The frame of that number, or null when it is not held. Cost: HELD comparisons.
    const Frame* find(uint32_t number) const {
        if (number == 0) return nullptr;
        uint8_t at = newest_;
        for (uint8_t i = 0; i < HELD; ++i) {
            if (frames_[at].number == number) return &frames_[at];
            at = static_cast<uint8_t>(at == 0 ? PLACES - 1 : at - 1);
        }
        return nullptr;
    }
    // Where the next frames are decoded to, 0 to MOST_TOGETHER - 1; find() does not look there.
    Frame& next(uint8_t i) {
        const uint8_t at = static_cast<uint8_t>(newest_ + 1 + i);
        return frames_[at >= PLACES ? at - PLACES : at];
    }
    // The first of next() is held from now on, under this number.
    void keep(uint32_t number) {
        newest_ = static_cast<uint8_t>(newest_ + 1 == PLACES ? 0 : newest_ + 1);
        frames_[newest_].number = number;
    }

  private:
    static constexpr uint8_t PLACES = HELD + MOST_TOGETHER;
    Frame frames_[PLACES];
    uint8_t newest_;
};

}  // namespace motionhub
