// The program on the robot without its board: bytes, time and the battery go in; pulses, levels and bytes come out.
//
//     static Robot robot;
//     static Survivor survivor;               // where a reset leaves memory alone (.noinit)
//
//     robot.begin(cause, survivor);
//     for (;;) {
//         while (a byte has come) robot.byte_in(byte, now_ms());
//         robot.answer(now_ms());
//         if (20 ms have passed) {
//             robot.tick(battery_mv());
//             issue robot.pulses(), robot.outputs()
//             kick the watchdog                // only here, so that any loop that does not come round is caught
//         }
//         robot.note_loop(how long this round took, in µs);
//     }
//
// Interrupts must not call it. Nothing here waits, allocates or recurses; every loop is bounded by JOINTS, HELD or
// the size of a packet. Robot has no constructor to speak of, so it costs nothing before begin().
#pragma once

#include "controller.h"
#include "kept.h"
#include "receiver.h"

namespace motionhub {

// What a watchdog's reset must not forget: a robot that stands would sag without its pulses. The core checks that it
// is whole, so the board only has to leave it alone from reset to begin().
struct Survivor {
    uint16_t pulses[JOINTS];
    Activity activity;
    uint8_t check[3];
};

class Robot {
  public:
    // Once, after reset. After a watchdog's reset a whole survivor's pulses are issued again from the first tick on,
    // and eased to rest (or lowered further, or stay ended); after any other there are no pulses.
    void begin(ResetCause cause, Survivor& survivor);

    void byte_in(uint8_t byte, uint32_t now_ms);
    // Sends what is due, by board::write. Call it when a burst of bytes has been taken, and once a tick.
    void answer(uint32_t now_ms);
    // Every 20 ms, with the battery as just measured.
    void tick(uint16_t battery_mv);
    void note_loop(uint16_t us) {
        if (us > worst_loop_us_) worst_loop_us_ = us;
    }

    const uint16_t* pulses() const { return controller_.pulses(); }    // µs, 0 for none; JOINTS of them
    const uint8_t* outputs() const { return controller_.outputs(); }   // 0 to 255; OUTPUTS of them
    Activity activity() const { return controller_.activity(); }
    const Limits& limits() const { return limits_; }
    uint32_t taken() const { return receiver_.taken(); }               // number of the last frame, in its session

  private:
    void remember();

    Limits limits_;
    Keeper keeper_;
    Receiver receiver_;
    Controller controller_;
    Survivor* survivor_;
    uint16_t worst_loop_us_, uptime_s_;
    uint8_t ticks_;
};

}  // namespace motionhub
