// Numbers of the wire. What they mean is specified in motionhub/link/wire.py, bit by bit.
#pragma once

#include <stdint.h>

namespace motionhub {

constexpr uint8_t WIRE_VERSION = 2;
constexpr uint8_t MAX_PACKET = 128;  // body and check, decoded
constexpr uint8_t CHECK_SIZE = 3;
constexpr uint8_t NUMBERS_AHEAD = 191;
constexpr uint8_t TICK_MS = 20;

enum class Kind : uint8_t {
    Full = 1,
    Difference = 2,
    Limp = 3,
    Hello = 4,
    Settings = 5,
    Two = 6,
    Three = 7,
    Welcome = 8,
    Ack = 9,
    Telemetry = 10,
    Kept = 11,
};

constexpr uint8_t KEPT_SAID = 8;  // low bits of Kind::Kept with a piece of what is in use

enum class Activity : uint8_t { Off = 0, Enabling, Easing, Following, Quiet, Lowering, Ended };

enum class ResetCause : uint8_t { Unknown = 0, Power, Button, BrownOut, Watchdog };

// Bits of telemetry's faults.
constexpr uint8_t FAULT_BATTERY_LOW = 1;
constexpr uint8_t FAULT_BATTERY_EMPTY = 2;
constexpr uint8_t FAULT_QUIET = 4;
constexpr uint8_t FAULT_REFUSED_PULSE = 8;
constexpr uint8_t FAULT_SLOW_LOOP = 16;
constexpr uint8_t FAULT_CALIBRATION = 32;

}  // namespace motionhub
