#include "pins.h"

#include <avr/io.h>
#include <avr/pgmspace.h>
#include <util/atomic.h>

namespace motionhub {
namespace board {

namespace {

// The output registers, in the order of the letters below.
const uint16_t PORTS[] PROGMEM = {
    uint16_t(&PORTA), uint16_t(&PORTB), uint16_t(&PORTC), uint16_t(&PORTD), uint16_t(&PORTE), uint16_t(&PORTF),
    uint16_t(&PORTG), uint16_t(&PORTH), uint16_t(&PORTJ), uint16_t(&PORTK), uint16_t(&PORTL),
};
enum Letter : uint8_t { A, B, C, D, E, F, G, H, J, K, L };

constexpr uint8_t at(Letter letter, uint8_t bit) { return static_cast<uint8_t>(letter << 3 | bit); }

// Which bit of which port a pin is. Practice: the numbering that boards with this chip share.
const uint8_t PLACES[PINS] PROGMEM = {
    at(E, 0), at(E, 1), at(E, 4), at(E, 5), at(G, 5), at(E, 3), at(H, 3), at(H, 4), at(H, 5), at(H, 6),  // 0
    at(B, 4), at(B, 5), at(B, 6), at(B, 7), at(J, 1), at(J, 0), at(H, 1), at(H, 0), at(D, 3), at(D, 2),  // 10
    at(D, 1), at(D, 0), at(A, 0), at(A, 1), at(A, 2), at(A, 3), at(A, 4), at(A, 5), at(A, 6), at(A, 7),  // 20
    at(C, 7), at(C, 6), at(C, 5), at(C, 4), at(C, 3), at(C, 2), at(C, 1), at(C, 0), at(D, 7), at(G, 2),  // 30
    at(G, 1), at(G, 0), at(L, 7), at(L, 6), at(L, 5), at(L, 4), at(L, 3), at(L, 2), at(L, 1), at(L, 0),  // 40
    at(B, 3), at(B, 2), at(B, 1), at(B, 0), at(F, 0), at(F, 1), at(F, 2), at(F, 3), at(F, 4), at(F, 5),  // 50
    at(F, 6), at(F, 7), at(K, 0), at(K, 1), at(K, 2), at(K, 3), at(K, 4), at(K, 5), at(K, 6), at(K, 7),  // 60
};

}  // namespace

Pin pin(uint8_t printed) {
    const uint8_t place = pgm_read_byte(&PLACES[printed < PINS ? printed : 0]);
    Pin found;
    found.port = reinterpret_cast<volatile uint8_t*>(pgm_read_word(&PORTS[place >> 3]));
    found.mask = printed < PINS ? static_cast<uint8_t>(1U << (place & 7)) : uint8_t(0);
    return found;
}

void make_output(Pin pin) {
    *pin.port = static_cast<uint8_t>(*pin.port & ~pin.mask);
    volatile uint8_t* direction = pin.port - 1;
    *direction = static_cast<uint8_t>(*direction | pin.mask);
}

void set_pin(Pin pin, bool high) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        *pin.port = static_cast<uint8_t>(high ? *pin.port | pin.mask : *pin.port & ~pin.mask);
    }
}

}  // namespace board
}  // namespace motionhub
