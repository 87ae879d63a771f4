// The servos' pulses and the robot's time, both from one hardware timer.
//
// Timer 1 counts half microseconds and is never stopped. A period of 20 ms has six slots; the pulses of a joint
// always lie in the same slot, a few joints in each, so that all of a slot's pulses are over before the next begins.
// Three things make them exact:
//
//   - The interrupt comes longer before an edge than any other interrupt takes, and then waits for the
//     edge with its eye on the timer. So an edge does not depend on what the chip was doing before it.
//   - A slot's pulses do not start together but STAGGER apart, and in the order in which they will end: the shortest
//     first. So their ends are at least STAGGER apart as well, whatever their widths are, and no edge has to wait
//     for another. All this costs is that a pulse starts a few µs earlier or later when its place in that order changes.
//   - The order is worked out by issue(), outside the interrupt, for the whole period. Of two tables the interrupt
//     reads one and issue() writes the other; they change places at the start of a period, if the other is complete.
//     So a pulse is never made of halves of two numbers, and a period never of halves of two frames.
//
// Nothing else touches this timer, and nothing else on the chip keeps time.
#pragma once

#include <stdint.h>

namespace motionhub {
namespace board {

// All pulse pins become outputs and are low; the timer runs. Pulses start with the first period after issue().
void begin_pulses();

// From the start of the next period on these pulses, µs, JOINTS of them; 0 for none, and none is longer than LONGEST_US.
void issue(const uint16_t* pulses);

// Whether a tick has become due since the last time that this was asked: once a period, TICK_AHEAD_US before the next
// one starts. What is issued within that time is in the next period.
bool tick_due();
bool tick_waits();

uint32_t now_ms();
// Wraps after 71 minutes: for differences.
uint32_t now_us();

constexpr uint16_t PERIOD_US = 20000;
constexpr uint16_t LONGEST_US = 3200;
constexpr uint16_t TICK_AHEAD_US = 10000;

}  // namespace board
}  // namespace motionhub
