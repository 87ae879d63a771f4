// Pins by the numbers printed on the board, and the ports of the chip that they lead to.
#pragma once

#include <stdint.h>

namespace motionhub {
namespace board {

constexpr uint8_t PINS = 70;  // 0 to 53, then the analogue inputs A0 to A15 as 54 to 69

// The direction register of every port is the one below its output register.
struct Pin {
    volatile uint8_t* port;
    uint8_t mask;
};

Pin pin(uint8_t printed);

// An output from now on, low. Nobody else may write to the port meanwhile: call it before interrupts are on.
void make_output(Pin pin);

// Safe beside interrupts that write to the same port.
void set_pin(Pin pin, bool high);

}  // namespace board
}  // namespace motionhub
