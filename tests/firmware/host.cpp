// The core on this computer, behind plain C functions for ctypes: one machine is a robot's program with its EEPROM.
#include <cstring>
#include <new>
#include <vector>

#include "robot.h"

using namespace motionhub;

namespace {

struct Machine {
    alignas(Robot) unsigned char place[sizeof(Robot)];
    Robot* robot;
    Survivor survivor;
    uint8_t eeprom[4096];
    long writes_left;  // until the power goes in the middle of one; -1: it stays
    uint8_t torn;      // what that byte then holds
    bool off;
    unsigned writes;
    std::vector<uint8_t> out;
};

Machine* machine = nullptr;  // whose turn it is

}  // namespace

namespace motionhub {
namespace board {
void write(const uint8_t* data, uint8_t size) {
    if (!machine->off) machine->out.insert(machine->out.end(), data, data + size);
}
uint8_t eeprom_read(uint16_t at) { return machine->eeprom[at]; }
void eeprom_write(uint16_t at, uint8_t value) {
    if (machine->off) return;
    if (machine->writes_left == 0) {
        machine->eeprom[at] = machine->torn;
        machine->off = true;
        return;
    }
    if (machine->writes_left > 0) --machine->writes_left;
    ++machine->writes;
    machine->eeprom[at] = value;
}
}  // namespace board
}  // namespace motionhub

extern "C" {

Machine* machine_new() {
    Machine* made = new Machine();
    std::memset(made->eeprom, 0xFF, sizeof made->eeprom);
    made->writes_left = -1;
    return made;
}
void machine_free(Machine* m) { delete m; }

// Power or another cause starts the program; its memory holds anything before that.
void machine_begin(Machine* m, int cause) {
    machine = m;
    m->off = false;
    std::memset(m->place, 0x5A, sizeof m->place);
    m->robot = new (m->place) Robot;
    m->robot->begin(static_cast<ResetCause>(cause), m->survivor);
}
void machine_bytes(Machine* m, const uint8_t* data, unsigned size, uint32_t now_ms) {
    machine = m;
    for (unsigned i = 0; i < size; ++i) m->robot->byte_in(data[i], now_ms);
    m->robot->answer(now_ms);
}
void machine_tick(Machine* m, uint16_t battery_mv) {
    machine = m;
    m->robot->tick(battery_mv);
}
void machine_answer(Machine* m, uint32_t now_ms) {
    machine = m;
    m->robot->answer(now_ms);
}
void machine_note_loop(Machine* m, uint16_t us) { m->robot->note_loop(us); }
unsigned machine_out(Machine* m, uint8_t* into, unsigned room) {
    const unsigned size = static_cast<unsigned>(m->out.size());
    if (size > room) return room + 1;
    if (size) std::memcpy(into, m->out.data(), size);
    m->out.clear();
    return size;
}
const uint16_t* machine_pulses(Machine* m) { return m->robot->pulses(); }
const uint8_t* machine_outputs(Machine* m) { return m->robot->outputs(); }
int machine_activity(Machine* m) { return static_cast<int>(m->robot->activity()); }
uint32_t machine_taken(Machine* m) { return m->robot->taken(); }
const Limits* machine_limits(Machine* m) { return &m->robot->limits(); }
uint8_t* machine_eeprom(Machine* m) { return m->eeprom; }
uint8_t* machine_survivor(Machine* m) { return reinterpret_cast<uint8_t*>(&m->survivor); }
unsigned machine_survivor_size() { return sizeof(Survivor); }
void machine_cut(Machine* m, long writes, uint8_t torn) {
    m->writes_left = writes;
    m->torn = torn;
}
int machine_off(Machine* m) { return m->off; }
unsigned machine_writes(Machine* m) { return m->writes; }

// Constants, for comparison with Python's.
int constant_wire_version() { return WIRE_VERSION; }
int constant_held() { return HELD; }
int constant_kept_end() { return KEPT_END; }
void crc24(const uint8_t* data, unsigned size, uint8_t* out) {
    Crc24 crc;
    for (unsigned i = 0; i < size; ++i) crc.add(data[i]);
    crc.put(out);
}

}  // extern "C"
