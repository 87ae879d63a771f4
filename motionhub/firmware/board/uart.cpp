#include "uart.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "board.h"
#include "config.h"

// The registers' names hold the UART's number.
#define JOINED(a, b, c) a##b##c
#define NAMED(a, b, c) JOINED(a, b, c)
#define CONTROL_A NAMED(UCSR, MOTIONHUB_UART, A)
#define CONTROL_B NAMED(UCSR, MOTIONHUB_UART, B)
#define CONTROL_C NAMED(UCSR, MOTIONHUB_UART, C)
#define DIVISOR NAMED(UBRR, MOTIONHUB_UART, )
#define DATA NAMED(UDR, MOTIONHUB_UART, )

namespace motionhub {
namespace board {

namespace {

// UBRR = f / (16 baud) - 1, or f / (8 baud) - 1 at double speed: ATmega2560 data sheet, "Clock Generation". The plain
// speed samples each bit twice as often, so it is taken wherever it comes as near.
constexpr uint32_t CLOCK = 16000000;
constexpr uint32_t rounded(uint32_t a, uint32_t b) { return (a + b / 2) / b; }
constexpr uint32_t PLAIN = rounded(CLOCK / 16, BAUD), DOUBLE = rounded(CLOCK / 8, BAUD);
constexpr uint32_t apart(uint32_t a, uint32_t b) { return a > b ? a - b : b - a; }
constexpr bool PLAIN_DOES = PLAIN > 0 && apart(CLOCK / 16 / PLAIN, BAUD) <= apart(CLOCK / 8 / DOUBLE, BAUD);
constexpr uint16_t UBRR_VALUE = static_cast<uint16_t>((PLAIN_DOES ? PLAIN : DOUBLE) - 1);
static_assert(apart(PLAIN_DOES ? CLOCK / 16 / PLAIN : CLOCK / 8 / DOUBLE, BAUD) * 40 <= BAUD, "baud within 2.5 %");

// Indices are bytes, so that an interrupt and the program can each write its own without asking the other.
volatile uint8_t in[256];
volatile uint8_t in_head, in_tail;
constexpr uint8_t OUT_SIZE = 128;
volatile uint8_t out[OUT_SIZE];
volatile uint8_t out_head, out_tail;

}  // namespace

ISR(NAMED(USART, MOTIONHUB_UART, _RX_vect)) {
    const uint8_t byte = DATA;
    const uint8_t head = in_head;
    const uint8_t next = static_cast<uint8_t>(head + 1);
    if (next == in_tail) return;
    in[head] = byte;
    in_head = next;
}

ISR(NAMED(USART, MOTIONHUB_UART, _UDRE_vect)) {
    const uint8_t tail = out_tail;
    if (tail == out_head) {
        CONTROL_B = static_cast<uint8_t>(CONTROL_B & ~_BV(UDRIE0));
        return;
    }
    DATA = out[tail];
    out_tail = (tail + 1) & (OUT_SIZE - 1);
}

void begin_uart() {
    CONTROL_B = 0;
    CONTROL_A = PLAIN_DOES ? 0 : _BV(U2X0);
    CONTROL_C = _BV(UCSZ01) | _BV(UCSZ00);
    DIVISOR = UBRR_VALUE;
    in_head = in_tail = out_head = out_tail = 0;
    CONTROL_B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

uint8_t waiting() { return static_cast<uint8_t>(in_head - in_tail); }

uint8_t take() {
    const uint8_t tail = in_tail;
    const uint8_t byte = in[tail];
    in_tail = static_cast<uint8_t>(tail + 1);
    return byte;
}

void write(const uint8_t* data, uint8_t size) {
    uint8_t head = out_head;
    const uint8_t room = (out_tail - head - 1) & (OUT_SIZE - 1);
    if (size > room) return;
    for (uint8_t i = 0; i < size; ++i) {
        out[head] = data[i];
        head = (head + 1) & (OUT_SIZE - 1);
    }
    out_head = head;
    // In the interrupt's register too, so not half done when it comes; and no other interrupt writes to it.
    const uint8_t kept = SREG;
    cli();
    CONTROL_B = static_cast<uint8_t>(CONTROL_B | _BV(UDRIE0));
    SREG = kept;
}

}  // namespace board
}  // namespace motionhub
