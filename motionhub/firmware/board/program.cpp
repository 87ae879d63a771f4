#include "program.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "battery.h"
#include "outputs.h"
#include "pulses.h"
#include "robot.h"
#include "start.h"
#include "uart.h"

namespace motionhub {

namespace {

Robot robot;
Survivor survivor __attribute__((section(".noinit")));

// What the program is doing now stands in a register of the chip that has no other use, for a debugger, or an emulator
// that measures it. It costs a cycle. The variables are what each piece of work was given.
enum class Doing : uint8_t { Starting = 1, Sleeping, Taking, Answering, Ticking, Issuing, Done };
inline void now_doing(Doing what) { GPIOR0 = static_cast<uint8_t>(what); }

struct Given {
    uint32_t now_ms;
    uint16_t battery_mv;
    uint16_t loop_us;
    uint16_t bytes;  // taken since the start; wraps
} volatile given;

void begin() {
    now_doing(Doing::Starting);
    cli();
    // A hung program is pulled out of it after this, so long after the last tick (practice: 10 % early or late, and
    // more when it is hot). It is longer than anything here takes, and shorter than a robot takes to fall.
    wdt_enable(WDTO_120MS);
    // In the hobby-board editor a timer for its own time runs by now; no interrupt of it may delay a pulse.
    TIMSK0 = 0;
    set_sleep_mode(SLEEP_MODE_IDLE);
    board::begin_outputs();
    board::begin_battery();
    robot.begin(board::reset_cause(), survivor);
    board::begin_pulses();
    board::issue(robot.pulses());
    board::begin_uart();
    sei();
}

void take_bytes() {
    now_doing(Doing::Taking);
    given.now_ms = board::now_ms();
    // What comes meanwhile is for the next round, so that a tick never waits for a talkative hub.
    uint8_t count = board::waiting();
    given.bytes = static_cast<uint16_t>(given.bytes + count);
    for (; count != 0; --count) robot.byte_in(board::take(), given.now_ms);
    now_doing(Doing::Answering);
    robot.answer(given.now_ms);
}

void tick() {
    now_doing(Doing::Ticking);
    given.battery_mv = board::battery_mv();
    robot.tick(given.battery_mv);
    now_doing(Doing::Issuing);
    board::issue(robot.pulses());
    board::set_outputs(robot.outputs());
    given.now_ms = board::now_ms();
    now_doing(Doing::Answering);
    robot.answer(given.now_ms);
    wdt_reset();
}

// Until the next interrupt, unless something has come since it was looked for.
void rest() {
    cli();
    if (board::waiting() == 0 && !board::tick_waits()) {
        now_doing(Doing::Sleeping);
        sleep_enable();
        sei();  // which lets one more instruction pass before an interrupt
        sleep_cpu();
        sleep_disable();
    }
    sei();
}

}  // namespace

void run() {
    begin();
    for (;;) {
        const uint32_t began = board::now_us();
        bool worked = false;
        if (board::waiting() != 0) {
            take_bytes();
            worked = true;
        }
        if (board::tick_due()) {
            tick();
            worked = true;
        }
        if (!worked) {
            rest();
            continue;
        }
        const uint32_t took = board::now_us() - began;
        given.loop_us = took > 0xFFFF ? uint16_t(0xFFFF) : static_cast<uint16_t>(took);
        robot.note_loop(given.loop_us);
        now_doing(Doing::Done);
    }
}

}  // namespace motionhub
