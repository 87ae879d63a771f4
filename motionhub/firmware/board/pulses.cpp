#include "pulses.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "config.h"
#include "pins.h"

namespace motionhub {
namespace board {

namespace {

constexpr uint16_t TICKS_A_US = 2;
constexpr uint16_t PERIOD = PERIOD_US * TICKS_A_US;
constexpr uint8_t SLOTS = 6;
constexpr uint16_t SLOT = PERIOD / SLOTS;  // the last one is a few ticks longer
constexpr uint8_t PER_SLOT = (JOINTS + SLOTS - 1) / SLOTS;
constexpr uint8_t TICK_SLOT = SLOTS - TICK_AHEAD_US * TICKS_A_US / SLOT;
// How long before an edge the interrupt is to come: an interrupt of the UART takes 4 µs, and the way into this one
// as long again, or for a slot, where there is more to prepare, three times as long.
constexpr uint8_t LEAD = 12 * TICKS_A_US;
constexpr uint8_t SLOT_LEAD = 20 * TICKS_A_US;
// One edge takes 2.5 µs when the next is waiting.
constexpr uint8_t STAGGER = 4 * TICKS_A_US;
// Leaving the interrupt and coming back takes as long as that, so ends that are nearer than this share one.
constexpr uint8_t TOGETHER = LEAD + 8 * TICKS_A_US;

static_assert(LONGEST_US * TICKS_A_US + PER_SLOT * STAGGER + LEAD + SLOT_LEAD < SLOT, "a slot holds the longest pulse");

struct Pulse {
    volatile uint8_t* port;
    uint8_t mask;
    uint16_t end;  // ticks after the start of its slot
};

struct Table {
    uint8_t count[SLOTS];
    Pulse pulses[SLOTS][PER_SLOT];
    uint8_t beyond[sizeof(Pulse)];  // the interrupt looks one further than the last
};

Table tables[2];
volatile uint8_t front = 0;        // the table that the interrupt reads
volatile bool complete = false;    // the other one is to be next
volatile bool tick_is_due = false;
volatile uint32_t periods = 0;
volatile uint16_t period_start;    // of the timer

// What the interrupt is at. Only it uses these.
uint8_t slot;
uint16_t slot_start;
const Pulse* ending;  // the next pulse to end, or
const Pulse* last;    // equal to this: the next slot is to start

Pin pins[JOINTS];

// What was written before is in memory before what is written after.
__attribute__((always_inline)) inline void barrier() { __asm__ volatile("" ::: "memory"); }

// Until the timer, whose high byte need not be looked at for so short a time, has reached `tick`.
__attribute__((always_inline)) inline void wait_for(uint8_t tick) {
    while (static_cast<int8_t>(TCNT1L - tick) < 0) {
    }
}

__attribute__((always_inline)) inline void start_slot() {
    if (slot == 0) {
        period_start = slot_start;
        ++periods;
        if (complete) {
            front ^= 1;
            complete = false;
        }
    }
    if (slot == TICK_SLOT) tick_is_due = true;
    const Table& table = tables[front];
    ending = table.pulses[slot];
    last = ending + table.count[slot];
    uint8_t at = static_cast<uint8_t>(slot_start);
    for (const Pulse* pulse = ending; pulse != last; ++pulse) {
        volatile uint8_t* const port = pulse->port;
        const uint8_t mask = pulse->mask;
        wait_for(at);
        *port = static_cast<uint8_t>(*port | mask);
        at = static_cast<uint8_t>(at + STAGGER);
    }
}

__attribute__((always_inline)) inline void end_pulses() {
    const Pulse* pulse = ending;
    const uint8_t start = static_cast<uint8_t>(slot_start);
    uint16_t end = pulse->end, before;
    do {
        volatile uint8_t* const port = pulse->port;
        const uint8_t mask = static_cast<uint8_t>(~pulse->mask);
        wait_for(static_cast<uint8_t>(start + end));
        *port = static_cast<uint8_t>(*port & mask);
        ++pulse;
        before = end;
        end = pulse->end;
    } while (pulse != last && end - before < TOGETHER);
    ending = pulse;
}

}  // namespace

ISR(TIMER1_COMPA_vect) {
    for (;;) {
        if (ending == last)
            start_slot();
        else
            end_pulses();
        uint16_t next;
        uint8_t lead = LEAD;
        if (ending == last) {
            if (++slot == SLOTS) {
                slot = 0;
                slot_start = period_start + PERIOD;
            } else {
                slot_start = slot_start + SLOT;
            }
            next = slot_start;
            lead = SLOT_LEAD;
        } else {
            next = slot_start + ending->end;
        }
        // Should the next edge be nearer than that after all, it is waited for here. A match that came in between
        // would be a false one, so it is cleared after the register is set, and before the timer is read.
        OCR1A = next - lead;
        TIFR1 = _BV(OCF1A);
        if (static_cast<int16_t>(next - TCNT1) > lead + 2) return;
    }
}

void begin_pulses() {
    for (uint8_t i = 0; i < JOINTS; ++i) {
        pins[i] = pin(table_u8(&JOINT_TABLE[i].pin));
        make_output(pins[i]);
    }
    TCCR1A = 0;
    TCCR1C = 0;
    TCNT1 = 0;
    slot = 0;
    ending = last = tables[0].pulses[0];
    slot_start = period_start = SLOT;
    OCR1A = slot_start - SLOT_LEAD;
    TIFR1 = 0xFF;
    TIMSK1 = _BV(OCIE1A);
    TCCR1B = _BV(CS11);  // 16 MHz by 8
}

void issue(const uint16_t* pulses) {
    // While it is not complete the interrupt leaves the table alone.
    complete = false;
    barrier();
    Table& table = tables[front ^ 1];
    for (uint8_t s = 0; s < SLOTS; ++s) table.count[s] = 0;
    for (uint8_t i = 0, s = 0; i < JOINTS; ++i, s = static_cast<uint8_t>(s + 1 == SLOTS ? 0 : s + 1)) {
        uint16_t us = pulses[i];
        if (us == 0) continue;
        if (us > LONGEST_US) us = LONGEST_US;
        const uint16_t width = us * TICKS_A_US;
        Pulse* const first = table.pulses[s];
        Pulse* place = first + table.count[s]++;
        // Until all are in, `end` is the width.
        for (; place != first && place[-1].end > width; --place) *place = place[-1];
        place->port = pins[i].port;
        place->mask = pins[i].mask;
        place->end = width;
    }
    for (uint8_t s = 0; s < SLOTS; ++s) {
        uint16_t start = 0;
        for (uint8_t k = 0; k < table.count[s]; ++k, start += STAGGER) table.pulses[s][k].end += start;
    }
    barrier();
    complete = true;
}

bool tick_waits() { return tick_is_due; }

bool tick_due() {
    const bool due = tick_is_due;
    if (due) tick_is_due = false;
    return due;
}

namespace {
// Periods, and ticks within the period.
uint32_t now(uint16_t* ticks) {
    uint32_t whole;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        whole = periods;
        *ticks = static_cast<uint16_t>(TCNT1 - period_start);
    }
    // A period's interrupt comes a little before the period.
    if (*ticks > PERIOD + PERIOD / 4) *ticks = 0;
    return whole;
}
}  // namespace

uint32_t now_ms() {
    uint16_t ticks;
    const uint32_t whole = now(&ticks);
    return whole * (PERIOD_US / 1000) + ticks / (1000 * TICKS_A_US);
}

uint32_t now_us() {
    uint16_t ticks;
    const uint32_t whole = now(&ticks);
    return whole * PERIOD_US + ticks / TICKS_A_US;
}

}  // namespace board
}  // namespace motionhub
