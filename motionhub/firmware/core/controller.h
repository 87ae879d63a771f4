// What the controller does with its servos: gentle starting, following, and the failsafe. The twin of
// motionhub/link/controller.py, where the table of what changes what stands.
#pragma once

#include "history.h"
#include "limits.h"
#include "wire.h"

namespace motionhub {

class Controller {
  public:
    void begin(const Limits& limits);
    // After a watchdog's reset: goes on from these pulses, held within the limits.
    void resume(Activity activity, const uint16_t* pulses);
    // Takes a frame that came `ticks` ticks after the one before it, first in its packet or together with it. It has to
    // stay where it is until some more have come.
    void command(const Frame& frame, uint32_t ticks, bool first);
    // One servo period: works out the pulses of the next 20 ms.
    void period(uint16_t battery_mv);
    // Whether other limits could be used now: no pulse issued or asked for lies outside them.
    bool suits(const Limits& limits) const;

    const uint16_t* pulses() const { return pulses_; }
    const uint8_t* outputs() const { return outputs_; }  // as of the last period
    Activity activity() const { return activity_; }
    uint16_t battery_mv() const { return static_cast<uint16_t>(battery_x8_ >> 3); }
    uint8_t faults() const;

  private:
    struct Waiting {
        const Frame* frame;
        uint8_t ticks;
    };
    static constexpr uint8_t MOST_WAITING = MOST_TOGETHER + 1;

    void begin(const Frame& frame, uint8_t ticks);
    void begin_next();
    void watch_battery(uint16_t mv);
    void move();
    void start_some();
    bool ease_to(const uint16_t* target);
    bool missing(uint8_t joint) const { return has_target_ && target_[joint] != 0 && pulses_[joint] == 0; }
    bool any_missing() const;
    bool any_on() const;
    void set(Activity activity);
    void all_off(Activity activity);
    void silence();
    void light();

    const Limits* limits_;
    uint16_t pulses_[JOINTS];
    uint16_t target_[JOINTS];
    uint8_t asked_[OUTPUT_ROOM];
    uint8_t outputs_[OUTPUT_ROOM];
    uint32_t battery_x8_;
    uint16_t since_frame_, below_, ease_;
    uint8_t since_start_, settled_, steps_, waiting_count_, flash_;
    Waiting waiting_[MOST_WAITING];
    Activity activity_;
    bool has_target_, low_;
};

}  // namespace motionhub
