// The robot's end of the wire: which frames to take, and what to answer. The twin of motionhub/link/receiver.py.
#pragma once

#include "board.h"
#include "history.h"
#include "kept.h"
#include "limits.h"
#include "wire.h"

namespace motionhub {

// What telemetry says of the robot; units as on the wire.
struct Status {
    uint16_t battery_mv;
    uint8_t faults;
    Activity activity;
    uint16_t worst_loop_us;
    uint16_t uptime_s;
};

class Receiver {
  public:
    enum class Event : uint8_t { Nothing, Frame, Settings };

    void begin(const Limits& limits, uint16_t first_session, ResetCause cause);
    // Takes one byte; says what it completed.
    Event byte_in(uint8_t byte, uint32_t now_ms);
    // After Event::Frame: the frames of the packet, oldest first, and how many ticks each came after the one before it.
    uint8_t frames() const { return count_; }
    const Frame& frame(uint8_t i) const { return *taken_[i]; }
    uint32_t ticks(uint8_t i) const { return i == 0 ? ticks_ : step_; }
    // Number of the frame last taken in this session; 0 before the first.
    uint32_t taken() const { return current_.taken; }
    // After Event::Settings: the body, until the next byte.
    const uint8_t* body() const { return buffer_; }
    uint8_t body_size() const { return body_size_; }
    void count_damaged() { ++damaged_; }

    // Sends the welcome that is due, if one is.
    void send_welcome(const Keeper& keeper);
    void send_kept(const Keeper& keeper);
    void send_piece(Keeper& keeper);
    // Which report is due now.
    enum class Report : uint8_t { None, Ack, Telemetry };
    Report due(uint32_t now_ms) const;
    void send_ack(uint32_t now_ms) { send_report(Kind::Ack, now_ms, nullptr); }
    void send_telemetry(uint32_t now_ms, const Status& status) { send_report(Kind::Telemetry, now_ms, &status); }
    // A frame was refused for a pulse outside the limits since the last time this was asked.
    bool refused() {
        const bool was = refused_;
        refused_ = false;
        return was;
    }

  private:
    struct Session {
        uint16_t hub, robot;
        uint32_t newest, taken;
        uint32_t taken_at;
        uint16_t before;
        uint16_t telemetry_ms;
        uint8_t ack_ms;
        bool there;
    };

    Event packet(uint32_t now_ms);
    void keep(Session* session, uint32_t number, uint32_t ticks);
    bool take_hello();
    Session* session_of(uint32_t* number);
    bool fits(const Session* session, uint32_t number) const;
    void send_report(Kind kind, uint32_t now_ms, const Status* status);
    void send(const Session* session, uint32_t number, uint8_t size);

    const Limits* limits_;
    History history_;
    Session current_, pending_;
    const Frame* taken_[MOST_TOGETHER];
    uint32_t ticks_;
    uint32_t reported_at_, telemetry_at_, report_number_;
    uint16_t own_session_, welcome_hub_, welcome_robot_;
    ResetCause cause_;
    bool welcome_due_, welcome_suits_, fresh_, refused_, skipping_;
    uint8_t damaged_, late_;
    uint8_t held_, body_size_, count_, step_;
    uint8_t buffer_[MAX_PACKET + 1];
    uint8_t out_[40];
};

}  // namespace motionhub
