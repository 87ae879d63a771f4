#include "robot.h"

namespace motionhub {

namespace {
constexpr uint8_t TICKS_A_SECOND = 1000 / TICK_MS;
constexpr uint16_t TICK_US = TICK_MS * 1000;
// Odd, so that 65,536 starts begin with numbers that all differ, and far apart: a start uses a few numbers on.
constexpr uint16_t BETWEEN_STARTS = 40503;

Crc24 check_of(const Survivor& survivor) {
    Crc24 crc;
    for (uint8_t i = 0; i < JOINTS; ++i) crc.add16(survivor.pulses[i]);
    crc.add(static_cast<uint8_t>(survivor.activity));
    return crc;
}
}  // namespace

void Robot::begin(ResetCause cause, Survivor& survivor) {
    const uint16_t before =
        static_cast<uint16_t>(board::eeprom_read(BOOTS_AT) | uint16_t(board::eeprom_read(BOOTS_AT + 1)) << 8);
    const uint16_t boots = static_cast<uint16_t>(before + 1U);
    // Cut off between the two, the number is some other one: it only has to differ from those of late.
    board::eeprom_write(BOOTS_AT, static_cast<uint8_t>(boots & 255));
    board::eeprom_write(BOOTS_AT + 1, static_cast<uint8_t>(boots >> 8));
    keeper_.begin(limits_);
    receiver_.begin(limits_, static_cast<uint16_t>(uint32_t(boots) * BETWEEN_STARTS & 0xFFFF), cause);
    controller_.begin(limits_);
    survivor_ = &survivor;
    if (cause == ResetCause::Watchdog && check_of(survivor).is(survivor.check) &&
        survivor.activity <= Activity::Ended)
        controller_.resume(survivor.activity, survivor.pulses);
    worst_loop_us_ = uptime_s_ = 0;
    ticks_ = 0;
    remember();
}

void Robot::byte_in(uint8_t byte, uint32_t now_ms) {
    switch (receiver_.byte_in(byte, now_ms)) {
        case Receiver::Event::Frame:
            for (uint8_t i = 0; i < receiver_.frames(); ++i)
                controller_.command(receiver_.frame(i), receiver_.ticks(i), i == 0);
            break;
        case Receiver::Event::Settings:
            if (!keeper_.take(receiver_.body(), receiver_.body_size())) receiver_.count_damaged();
            break;
        case Receiver::Event::Nothing:
            break;
    }
}

void Robot::answer(uint32_t now_ms) {
    receiver_.send_welcome(keeper_);
    if (keeper_.reply_due()) receiver_.send_kept(keeper_);
    if (keeper_.asked()) receiver_.send_piece(keeper_);
    switch (receiver_.due(now_ms)) {
        case Receiver::Report::Telemetry: {
            uint8_t faults = controller_.faults();
            if (receiver_.refused()) faults |= FAULT_REFUSED_PULSE;
            if (worst_loop_us_ > TICK_US) faults |= FAULT_SLOW_LOOP;
            if (keeper_.damaged()) faults |= FAULT_CALIBRATION;
            const Status status = {
                controller_.battery_mv(), faults, controller_.activity(), worst_loop_us_, uptime_s_,
            };
            worst_loop_us_ = 0;
            receiver_.send_telemetry(now_ms, status);
            break;
        }
        case Receiver::Report::Ack:
            receiver_.send_ack(now_ms);
            break;
        case Receiver::Report::None:
            break;
    }
}

void Robot::tick(uint16_t battery_mv) {
    if (keeper_.tick()) {
        Limits proposed;
        keeper_.proposed(proposed);
        if (controller_.suits(proposed)) {
            limits_ = proposed;
            keeper_.used();
        }
    }
    controller_.period(battery_mv);
    remember();
    if (++ticks_ == TICKS_A_SECOND) {
        ticks_ = 0;
        if (uptime_s_ != 0xFFFF) ++uptime_s_;
    }
}

void Robot::remember() {
    const uint16_t* pulses = controller_.pulses();
    for (uint8_t i = 0; i < JOINTS; ++i) survivor_->pulses[i] = pulses[i];
    survivor_->activity = controller_.activity();
    check_of(*survivor_).put(survivor_->check);
}

}  // namespace motionhub
