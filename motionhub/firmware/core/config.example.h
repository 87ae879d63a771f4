// What config.h has to say of a robot: this is the contract, and an example with three joints.
//
// The real config.h is generated from a robot file and its calibration. The core reads all of it but the
// pins, the baud rate and the battery's divider and converter, which are for the board's file. Names and
// types are fixed; the sizes follow from JOINTS and OUTPUTS.
#pragma once

#include "platform.h"

#define MOTIONHUB_UART 1  // for the board's file: the serial port that the radio is on

namespace motionhub {

constexpr uint8_t JOINTS = 3;    // 1 to 48
constexpr uint8_t OUTPUTS = 2;   // 0 to 16

// pin, hard low, hard high, mid, rest, lowered (both from mid), low, high, trim, reversed, scale, whose
const JointLine JOINT_TABLE[JOINTS] MOTIONHUB_TABLE = {
    {22, 500, 2500, 1500, 0, 0, 600, 2400, 12, 0, 1024, 0},        // left_front.coxa
    {23, 500, 2500, 1500, 220, 610, 500, 2500, 0, 1, 1024, 1},     // left_front.femur
    {24, 500, 2500, 1500, -340, -700, 700, 2300, -8, 0, 1024, 2},  // left_front.tibia
};

// pin, silenced, warns. Without outputs (OUTPUTS = 0) one line of zeros still stands here, and is not used.
const OutputLine OUTPUT_TABLE[OUTPUTS ? OUTPUTS : 1] MOTIONHUB_TABLE = {
    {44, 0, 1},  // lamp
    {45, 1, 0},  // horn
};

// Time. Everything the core counts is in ticks of 20 ms, one servo period.
constexpr uint16_t QUIET_TICKS = 25;       // without a frame before the failsafe; 1 to 500
constexpr uint16_t CUT_OFF_TICKS = 150;    // below cut-off before the body is lowered; 1 to 3000
constexpr uint8_t START_AT_ONCE = 3;       // joints that start in the same tick
constexpr uint8_t START_EVERY_TICKS = 5;   // from one group of joints to the next

// Battery, in mV at the battery (not at the converter's pin).
constexpr uint16_t WARN_MV = 7000;
constexpr uint16_t CUT_OFF_MV = 6600;

// For the board's file alone.
constexpr uint32_t BAUD = 57600;
constexpr uint8_t BATTERY_PIN = 0;               // analogue input
constexpr uint16_t ADC_REFERENCE_MV = 5000;
constexpr uint16_t DIVIDER_TOP_OHM_BY_10 = 1000;    // 10 kΩ between battery and pin
constexpr uint16_t DIVIDER_BOTTOM_OHM_BY_10 = 470;  // 4.7 kΩ between pin and ground

}  // namespace motionhub
