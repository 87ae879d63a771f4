// What differs between a small chip and a computer, and nothing that differs between boards.
//
// Constant tables: on chips whose constants would otherwise be copied to their little RAM, they stay in
// program memory and are read through table_*(). Everywhere else that is plain memory.
#pragma once

#include <stdint.h>

#if defined(__AVR__)
#include <avr/pgmspace.h>
#define MOTIONHUB_TABLE PROGMEM
#else
#define MOTIONHUB_TABLE
#endif

namespace motionhub {

#if defined(__AVR__)
inline uint8_t table_u8(const uint8_t* at) { return pgm_read_byte(at); }
inline uint16_t table_u16(const uint16_t* at) { return pgm_read_word(at); }
inline int16_t table_i16(const int16_t* at) {
    return static_cast<int16_t>(pgm_read_word(reinterpret_cast<const uint16_t*>(at)));
}
#else
inline uint8_t table_u8(const uint8_t* at) { return *at; }
inline uint16_t table_u16(const uint16_t* at) { return *at; }
inline int16_t table_i16(const int16_t* at) { return *at; }
#endif

// One line of a robot's table of joints and their connectors; all pulses in µs. See config.example.h.
struct JointLine {
    uint8_t pin;         // as printed on the board
    uint16_t hard_low;   // the servo's own ends: never passed, whatever end points are kept
    uint16_t hard_high;
    int16_t mid;         // the pulse of mid-travel, before trim
    int16_t rest;        // rest pose, as pulses away from mid for a servo that is not reversed
    int16_t lowered;     // the pose with the body on the ground, likewise
    uint16_t low;        // of the servo at this connector when this was exported: end points, trim, direction, scale,
    uint16_t high;       // and whose it is; what the hub has sent since and EEPROM keeps goes before them
    int16_t trim;        // added to every pulse
    uint8_t reversed;    // 1: a longer pulse turns the joint in its negative direction
    uint16_t scale;      // µs for a turn over those of the data sheet, in 1024ths
    uint8_t whose;       // number of the joint whose servo is at this connector; its own unless plugs are swapped
};

// One line of a robot's table of outputs.
struct OutputLine {
    uint8_t pin;
    uint8_t silenced;    // 1: switched off when the link is quiet (a sounder; a lamp stays lit)
    uint8_t warns;       // 1: a lamp that blinks while the battery is low, over what it is asked to show
};

}  // namespace motionhub
