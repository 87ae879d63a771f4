#include "start.h"

#include <avr/io.h>
#include <avr/wdt.h>

namespace motionhub {
namespace board {

namespace {
// Not cleared at the start like other variables: it is written before they are.
uint8_t flags __attribute__((section(".noinit")));
}  // namespace

}  // namespace board
}  // namespace motionhub

// These stand in the start-up code itself, after the stack pointer is set and before variables are cleared. No
// function may be called there, and none returns. After a watchdog's reset the watchdog goes on, at its shortest time,
// until it is switched off here (data sheet, "Watchdog Timer").
extern "C" {

void motionhub_note_reset() __attribute__((naked, used, section(".init3")));
void motionhub_note_reset() {
    motionhub::board::flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

void motionhub_paint_stack() __attribute__((naked, used, section(".init3")));
void motionhub_paint_stack() {
    __asm__ volatile(
        "    ldi r30, lo8(_end)\n"
        "    ldi r31, hi8(_end)\n"
        "    ldi r24, %[paint]\n"
        "    in r26, __SP_L__\n"
        "    in r27, __SP_H__\n"
        "1:  st Z+, r24\n"
        "    cp r30, r26\n"
        "    cpc r31, r27\n"
        "    brlo 1b\n" ::[paint] "M"(static_cast<int>(motionhub::board::UNTOUCHED)));
}

}  // extern "C"

namespace motionhub {
namespace board {

ResetCause reset_cause() {
    // Switching on may set the brown-out's flag as well, and so it is asked first.
    if (flags & _BV(PORF)) return ResetCause::Power;
    if (flags & _BV(WDRF)) return ResetCause::Watchdog;
    if (flags & _BV(BORF)) return ResetCause::BrownOut;
    if (flags & _BV(EXTRF)) return ResetCause::Button;
    return ResetCause::Unknown;
}

}  // namespace board
}  // namespace motionhub
