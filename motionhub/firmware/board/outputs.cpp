#include "outputs.h"

#include <avr/io.h>
#include <avr/pgmspace.h>

#include "config.h"
#include "pins.h"

namespace motionhub {
namespace board {

namespace {

// A channel of a timer that drives a pin. Timer 1 is the pulses', and timer 0 the hobby-board editor's.
struct Channel {
    uint8_t pin;
    volatile uint8_t* control;  // whose bit connects the pin
    uint8_t connect;
    volatile uint8_t* level;    // low byte of the compare register
    bool wide;                  // it has a high byte, right above
    volatile uint8_t* clock;
    uint8_t rate;               // phase-correct 8 bits: 16 MHz / 64 / 510
};

constexpr uint8_t COMMON_RATE = _BV(CS31) | _BV(CS30);  // likewise for timers 4 and 5
constexpr uint8_t TIMER_2_RATE = _BV(CS22);

const Channel CHANNELS[] = {
    {2, &TCCR3A, _BV(COM3B1), &OCR3BL, true, &TCCR3B, COMMON_RATE},
    {3, &TCCR3A, _BV(COM3C1), &OCR3CL, true, &TCCR3B, COMMON_RATE},
    {5, &TCCR3A, _BV(COM3A1), &OCR3AL, true, &TCCR3B, COMMON_RATE},
    {6, &TCCR4A, _BV(COM4A1), &OCR4AL, true, &TCCR4B, COMMON_RATE},
    {7, &TCCR4A, _BV(COM4B1), &OCR4BL, true, &TCCR4B, COMMON_RATE},
    {8, &TCCR4A, _BV(COM4C1), &OCR4CL, true, &TCCR4B, COMMON_RATE},
    {9, &TCCR2A, _BV(COM2B1), &OCR2B, false, &TCCR2B, TIMER_2_RATE},
    {10, &TCCR2A, _BV(COM2A1), &OCR2A, false, &TCCR2B, TIMER_2_RATE},
    {44, &TCCR5A, _BV(COM5C1), &OCR5CL, true, &TCCR5B, COMMON_RATE},
    {45, &TCCR5A, _BV(COM5B1), &OCR5BL, true, &TCCR5B, COMMON_RATE},
    {46, &TCCR5A, _BV(COM5A1), &OCR5AL, true, &TCCR5B, COMMON_RATE},
};

const Channel* channel_of(uint8_t printed) {
    for (const Channel& channel : CHANNELS)
        if (channel.pin == printed) return &channel;
    return nullptr;
}

constexpr uint8_t ROOM = OUTPUTS ? OUTPUTS : 1;
Pin pins[ROOM];
const Channel* channels[ROOM];  // null for one that is switched
uint8_t from[ROOM];             // the level from which it is on

void dim(const Channel& channel, uint8_t level) {
    // Connected at level 0 it would still be on for one count of 510.
    if (level == 0) {
        *channel.control = static_cast<uint8_t>(*channel.control & ~channel.connect);
        return;
    }
    if (channel.wide) channel.level[1] = 0;
    channel.level[0] = level;
    *channel.control = static_cast<uint8_t>(*channel.control | channel.connect);
}

}  // namespace

void begin_outputs() {
    for (uint8_t i = 0; i < OUTPUTS; ++i) {
        const uint8_t printed = table_u8(&OUTPUT_TABLE[i].pin);
        const bool sounder = table_u8(&OUTPUT_TABLE[i].silenced) != 0;
        pins[i] = pin(printed);
        make_output(pins[i]);
        channels[i] = sounder ? nullptr : channel_of(printed);
        from[i] = sounder ? 1 : 128;
        if (channels[i]) {
            *channels[i]->control = 1;  // WGM0 alone in each of these timers: phase-correct, 8 bits
            *channels[i]->clock = channels[i]->rate;
        }
    }
}

void set_outputs(const uint8_t* levels) {
    for (uint8_t i = 0; i < OUTPUTS; ++i) {
        if (channels[i])
            dim(*channels[i], levels[i]);
        else
            set_pin(pins[i], levels[i] >= from[i]);
    }
}

}  // namespace board
}  // namespace motionhub
