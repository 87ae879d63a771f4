// The robot's board emulated: an ATmega2560 of simavr, with what is wired to it. Plain C functions for ctypes.
//
// Time is the chip's own cycles. Bytes go in at the pace of the wire or at a cycle that is asked for; what the program
// sends, every edge of the pins that are watched, and what the program says it is doing (GPIOR0) come out with their cycles.
#include <libelf.h>
#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { GPIOR0_ADDRESS = 0x3E, EECR_ADDRESS = 0x3F, EEDR_ADDRESS = 0x40, EEARL_ADDRESS = 0x41, MCUSR_ADDRESS = 0x54 };
enum { EEPROM_SIZE = 4096, WATCHED = 70, LOST = 1000 };
enum { STARTING = 1, ISSUING = 6 };  // as in program.cpp

typedef struct {
    uint64_t cycle;
    uint16_t channel;
    uint16_t high;
} Edge;

typedef struct {
    uint64_t cycle;
    uint8_t given[16];  // the variables that the program says it was given
    uint32_t doing, unused;
} Mark;

typedef struct {
    uint64_t cycle;
    uint32_t byte;
} Byte;

typedef struct {
    uint64_t cycle;
    uint8_t survivor[104];  // pulses and activity, as the program hands them to its pulse interrupt
} Issue;

typedef struct {
    uint64_t cycle;
    uint16_t place;
    uint8_t byte, unused[5];
} Write;

typedef struct {
    void* items;
    size_t size, count, room;
} List;

typedef struct Chip {
    avr_t* avr;
    List edges, marks, said, issues, heard, written, coming;
    size_t fed;            // of those that are coming
    uint64_t feed_due;     // when the next of them is there
    uint64_t byte_cycles;
    uint64_t wire_free;  // when the last byte that was fed is over
    struct Chip_pin {
        struct Chip* chip;
        uint16_t channel;
    } pins[WATCHED];
    int channels;
    uint16_t given_at, given_size, survivor_at, survivor_size;
    int marking, edging;
    // EEPROM, watched for power cuts.
    avr_io_write_t eecr_write;
    void* eecr_param;
    long writes, cut_after;
    uint8_t torn;
    int off;
    uint64_t slept;
    int jammed;
    avr_flashaddr_t jammed_at;
    uint8_t jammed_over[2];
    // What the receiver holds: two bytes, and a third in its shift register until a fourth begins to come.
    avr_uart_t* uart;
    struct {
        uint64_t cycle;
        uint8_t byte;
    } held[3];
    int held_count;
    uint64_t rx_worst, overruns;
} Chip;

static void* add(List* list) {
    if (list->count == list->room) {
        list->room = list->room ? list->room * 2 : 1024;
        list->items = realloc(list->items, list->room * list->size);
        if (!list->items) abort();
    }
    return (char*)list->items + list->size * list->count++;
}

static void quiet(struct avr_t* avr, const int level, const char* format, va_list ap) {
    (void)avr;
    if (level <= LOG_ERROR) vfprintf(stderr, format, ap);
}

static void no_sleep(avr_t* avr, avr_cycle_count_t how_long) {
    (void)avr;
    (void)how_long;
}

static void on_pin(avr_irq_t* irq, uint32_t value, void* param) {
    struct Chip_pin* pin = param;
    Chip* chip = pin->chip;
    (void)irq;
    if (!chip->edging) return;
    Edge* edge = add(&chip->edges);
    edge->cycle = chip->avr->cycle;
    edge->channel = pin->channel;
    edge->high = value != 0;
}

static void on_mark(avr_t* avr, avr_io_addr_t at, uint8_t value, void* param) {
    Chip* chip = param;
    avr->data[at] = value;
    if (chip->jammed && value == STARTING) {
        memcpy(avr->flash + chip->jammed_at, chip->jammed_over, 2);
        chip->jammed = 0;
    }
    if (value == ISSUING) {
        Issue* issue = add(&chip->issues);
        issue->cycle = avr->cycle;
        memcpy(issue->survivor, avr->data + chip->survivor_at, chip->survivor_size);
    }
    if (!chip->marking) return;
    Mark* mark = add(&chip->marks);
    mark->cycle = avr->cycle;
    mark->doing = value;
    memcpy(mark->given, avr->data + chip->given_at, chip->given_size);
}

static void on_said(avr_irq_t* irq, uint32_t value, void* param) {
    Chip* chip = param;
    (void)irq;
    Byte* byte = add(&chip->said);
    byte->cycle = chip->avr->cycle;
    byte->byte = value & 255;
}

// A write to EEPROM begins when the program sets EEPE after EEMPE; the power may go in the middle of it.
static void on_eecr(avr_t* avr, avr_io_addr_t at, uint8_t value, void* param) {
    Chip* chip = param;
    const uint8_t before = avr->data[at];
    const int begins = (value & 2) && (before & 4) && !(before & 2);
    chip->eecr_write(avr, at, value, chip->eecr_param);
    if (!begins) return;
    const uint16_t place = (uint16_t)(avr->data[EEARL_ADDRESS] | avr->data[EEARL_ADDRESS + 1] << 8);
    Write* write = add(&chip->written);
    write->cycle = avr->cycle;
    write->place = place;
    write->byte = avr->data[EEDR_ADDRESS];
    if (chip->cut_after >= 0 && chip->writes == chip->cut_after) {
        avr_eeprom_desc_t change = {.ee = &chip->torn, .offset = place, .size = 1};
        avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &change);
        chip->off = 1;
        avr->state = cpu_Done;
    }
    ++chip->writes;
}

// The emulator's own receiver loses time after each byte that the program fetches late, so a line that is full
// would overflow it; this one keeps to the wire, and loses what a real one loses.
static uint8_t on_udr(avr_t* avr, avr_io_addr_t at, void* param) {
    Chip* chip = param;
    avr_clear_interrupt(avr, &chip->uart->rxc);
    if (chip->held_count == 0) return avr->data[at];
    const uint64_t waited = avr->cycle - chip->held[0].cycle;
    if (waited > chip->rx_worst) chip->rx_worst = waited;
    avr->data[at] = chip->held[0].byte;
    memmove(chip->held, chip->held + 1, sizeof chip->held - sizeof chip->held[0]);
    if (--chip->held_count) avr_raise_interrupt(avr, &chip->uart->rxc);
    return avr->data[at];
}

static avr_cycle_count_t on_feed(avr_t* avr, avr_cycle_count_t when, void* param) {
    Chip* chip = param;
    (void)when;
    while (chip->fed < chip->coming.count) {
        const Byte* next = (const Byte*)chip->coming.items + chip->fed;
        // The byte is there when its stop bit is.
        if (next->cycle + chip->byte_cycles > avr->cycle) return chip->feed_due = next->cycle + chip->byte_cycles;
        ++chip->fed;
        if (!avr_regbit_get(avr, chip->uart->rxen)) continue;
        if (chip->held_count == 3) {
            ++chip->overruns;
            continue;
        }
        *(uint8_t*)add(&chip->heard) = (uint8_t)next->byte;
        chip->held[chip->held_count].cycle = avr->cycle;
        chip->held[chip->held_count++].byte = (uint8_t)next->byte;
        avr_raise_interrupt(avr, &chip->uart->rxc);
    }
    return 0;
}

static void feed_on(Chip* chip) {
    if (chip->fed == chip->coming.count) return;
    avr_cycle_timer_cancel(chip->avr, on_feed, chip);
    const uint64_t due = ((const Byte*)chip->coming.items + chip->fed)->cycle + chip->byte_cycles;
    chip->feed_due = due > chip->avr->cycle ? due : chip->avr->cycle + 1;
    avr_cycle_timer_register(chip->avr, chip->feed_due - chip->avr->cycle, on_feed, chip);
}

Chip* chip_new(const char* elf, int uart, uint32_t byte_cycles, const uint16_t* places) {
    avr_global_logger_set(quiet);
    elf_firmware_t firmware;
    memset(&firmware, 0, sizeof firmware);
    if (elf_read_firmware(elf, &firmware)) return NULL;
    avr_t* avr = avr_make_mcu_by_name("atmega2560");
    if (!avr) return NULL;
    avr_init(avr);
    avr->frequency = 16000000;
    avr->vcc = avr->avcc = avr->aref = 5000;
    avr->sleep = no_sleep;
    avr->log = LOG_ERROR;
    // What RAM holds at power-up is anything.
    for (uint32_t i = 0x200; i <= avr->ramend; ++i) avr->data[i] = (uint8_t)(i * 31 + 7);
    avr_load_firmware(avr, &firmware);
    Chip* chip = calloc(1, sizeof *chip);
    chip->avr = avr;
    chip->edges.size = sizeof(Edge);
    chip->marks.size = sizeof(Mark);
    chip->said.size = chip->coming.size = sizeof(Byte);
    chip->byte_cycles = byte_cycles;
    chip->issues.size = sizeof(Issue);
    chip->heard.size = 1;
    chip->written.size = sizeof(Write);
    chip->given_at = places[0];
    chip->given_size = places[1] > 16 ? 16 : places[1];
    chip->survivor_at = places[2];
    chip->survivor_size = places[3] > 104 ? 104 : places[3];
    chip->cut_after = -1;
    chip->marking = chip->edging = 1;
    const char name = (char)('0' + uart);
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS(name), &flags);
    for (avr_io_t* io = avr->io_port; io; io = io->next)
        if (!strcmp(io->kind, "uart") && ((avr_uart_t*)io)->name == name) chip->uart = (avr_uart_t*)io;
    if (!chip->uart) return NULL;
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ(name), UART_IRQ_OUTPUT), on_said, chip);
    avr_register_io_write(avr, GPIOR0_ADDRESS, on_mark, chip);
    const int eecr = AVR_DATA_TO_IO(EECR_ADDRESS);
    chip->eecr_write = avr->io[eecr].w.c;
    chip->eecr_param = avr->io[eecr].w.param;
    avr->io[eecr].w.c = on_eecr;
    avr->io[eecr].w.param = chip;
    const int data = AVR_DATA_TO_IO(chip->uart->r_udr);
    avr->io[data].r.c = on_udr;
    avr->io[data].r.param = chip;
    return chip;
}

void chip_free(Chip* chip) {
    avr_terminate(chip->avr);
    free(chip->edges.items);
    free(chip->marks.items);
    free(chip->said.items);
    free(chip->issues.items);
    free(chip->heard.items);
    free(chip->written.items);
    free(chip->coming.items);
    free(chip);
}

void chip_watch(Chip* chip, char port, int bit) {
    struct Chip_pin* pin = &chip->pins[chip->channels];
    pin->chip = chip;
    pin->channel = (uint16_t)chip->channels++;
    avr_irq_register_notify(avr_io_getirq(chip->avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit), on_pin, pin);
}

uint64_t chip_cycle(Chip* chip) { return chip->avr->cycle; }

// Until the chip has come to that cycle. 0 if it still runs; 1 if its power went; 2 if the program crashed.
int chip_run(Chip* chip, uint64_t until) {
    avr_t* avr = chip->avr;
    while (avr->cycle < until) {
        const uint64_t before = avr->cycle;
        const int state = avr_run(avr);
        // The emulator sleeps as far as it can in the very call in which the program goes to sleep.
        if (avr->state == cpu_Sleeping) chip->slept += avr->cycle - before;
        if (chip->off) return 1;
        if (state == cpu_Crashed || state == cpu_Done || state == cpu_Stopped) return 2;
        // A watchdog's reset stops all of the emulator's timers, and the wire's with them.
        if (chip->fed < chip->coming.count && avr->cycle > chip->feed_due + LOST) feed_on(chip);
    }
    return 0;
}

// Bytes on the wire from that cycle on, or as soon as those before them are over; returns when the last one is.
uint64_t chip_feed(Chip* chip, const uint8_t* data, size_t size, uint64_t from) {
    uint64_t at = from > chip->wire_free ? from : chip->wire_free;
    if (at < chip->avr->cycle) at = chip->avr->cycle;
    for (size_t i = 0; i < size; ++i, at += chip->byte_cycles) {
        Byte* byte = add(&chip->coming);
        byte->cycle = at;
        byte->byte = data[i];
    }
    chip->wire_free = at;
    feed_on(chip);
    return at;
}

static size_t taken(List* list, void* into, size_t room) {
    const size_t count = list->count < room ? list->count : room;
    memcpy(into, list->items, count * list->size);
    memmove(list->items, (char*)list->items + count * list->size, (list->count - count) * list->size);
    list->count -= count;
    return count;
}
size_t chip_edges(Chip* chip, Edge* into, size_t room) { return taken(&chip->edges, into, room); }
size_t chip_marks(Chip* chip, Mark* into, size_t room) { return taken(&chip->marks, into, room); }
size_t chip_said(Chip* chip, Byte* into, size_t room) { return taken(&chip->said, into, room); }
size_t chip_heard(Chip* chip, uint8_t* into, size_t room) { return taken(&chip->heard, into, room); }
size_t chip_issues(Chip* chip, Issue* into, size_t room) { return taken(&chip->issues, into, room); }
size_t chip_written(Chip* chip, Write* into, size_t room) { return taken(&chip->written, into, room); }
size_t chip_held(Chip* chip, int which) {
    const List* lists[] = {&chip->edges, &chip->marks, &chip->said, &chip->issues, &chip->heard, &chip->written};
    return lists[which]->count;
}
void chip_record(Chip* chip, int edges, int marks) {
    chip->edging = edges;
    chip->marking = marks;
}

void chip_volts(Chip* chip, int input, uint32_t mv) {
    avr_raise_irq(avr_io_getirq(chip->avr, AVR_IOCTL_ADC_GETIRQ, input), mv);
}

uint8_t* chip_data(Chip* chip) { return chip->avr->data; }
uint32_t chip_ramend(Chip* chip) { return chip->avr->ramend; }
uint64_t chip_slept(Chip* chip) { return chip->slept; }
uint64_t chip_rx_worst(Chip* chip) { return chip->rx_worst; }
uint64_t chip_overruns(Chip* chip) { return chip->overruns; }

void chip_eeprom_get(Chip* chip, uint8_t* into) {
    avr_eeprom_desc_t all = {.ee = NULL, .offset = 0, .size = EEPROM_SIZE};
    if (avr_ioctl(chip->avr, AVR_IOCTL_EEPROM_GET, &all) == 0 || all.ee) memcpy(into, all.ee, EEPROM_SIZE);
}
void chip_eeprom_set(Chip* chip, uint8_t* from) {
    avr_eeprom_desc_t all = {.ee = from, .offset = 0, .size = EEPROM_SIZE};
    avr_ioctl(chip->avr, AVR_IOCTL_EEPROM_SET, &all);
}
void chip_cut(Chip* chip, long after, uint8_t torn) {
    chip->writes = 0;
    chip->cut_after = after;
    chip->torn = torn;
}
long chip_writes(Chip* chip) { return chip->writes; }

// Why the next start will say it happened: the emulator knows no button and no brown-out.
void chip_cause(Chip* chip, uint8_t flags) { chip->avr->data[MCUSR_ADDRESS] = flags; }

// From now on the program does nothing any more; interrupts go on, or not.
void chip_jam(Chip* chip, int interrupts) {
    avr_t* avr = chip->avr;
    // In the place of the instruction that comes next, until the program starts anew: jump to itself.
    chip->jammed = 1;
    chip->jammed_at = avr->pc;
    memcpy(chip->jammed_over, avr->flash + avr->pc, 2);
    avr->flash[avr->pc] = 0xFF;
    avr->flash[avr->pc + 1] = 0xCF;
    if (!interrupts) avr->sreg[S_I] = 0;
    avr->state = cpu_Running;  // it may have slept
}
