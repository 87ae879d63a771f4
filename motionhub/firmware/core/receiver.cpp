#include "receiver.h"

#include "cobs.h"
#include "frames.h"

namespace motionhub {

namespace {

constexpr uint8_t HELLO_SIZE = 9;

inline uint16_t little16(const uint8_t* at) { return static_cast<uint16_t>(at[0] | uint16_t(at[1]) << 8); }

inline uint8_t* put16(uint8_t* at, uint16_t value) {
    at[0] = static_cast<uint8_t>(value & 255);
    at[1] = static_cast<uint8_t>(value >> 8);
    return at + 2;
}

inline uint8_t first_byte(Kind kind, uint8_t low = 0) {
    return static_cast<uint8_t>(static_cast<uint8_t>(kind) << 4 | low);
}

// The 7 bytes that go before the body of a packet: see wire.Key.
void add_key(Crc24& crc, uint16_t hub, uint16_t robot, uint32_t number) {
    crc.add16(hub);
    crc.add16(robot);
    crc.add16(static_cast<uint16_t>(number >> 8 & 0xFFFF));
    crc.add(static_cast<uint8_t>(number >> 24));
}

// The full number whose low byte is `low`: at most 191 after the newest, else at most 64 before it.
uint32_t nearest(uint8_t low, uint32_t newest) {
    const uint8_t ahead = static_cast<uint8_t>(low - (newest & 255));
    const uint32_t number = newest + ahead;
    return ahead > NUMBERS_AHEAD && number >= 256 ? number - 256 : number;
}

}  // namespace

void Receiver::begin(const Limits& limits, uint16_t first_session, ResetCause cause) {
    limits_ = &limits;
    history_.clear();
    current_ = Session();
    pending_ = Session();
    for (uint8_t i = 0; i < MOST_TOGETHER; ++i) taken_[i] = nullptr;
    ticks_ = 0;
    count_ = step_ = 0;
    reported_at_ = telemetry_at_ = report_number_ = 0;
    own_session_ = first_session;
    cause_ = cause;
    welcome_hub_ = welcome_robot_ = 0;
    welcome_due_ = welcome_suits_ = fresh_ = refused_ = skipping_ = false;
    damaged_ = late_ = held_ = body_size_ = 0;
}

// -- taking ---------------------------------------------------------------------------------------------------

Receiver::Event Receiver::byte_in(uint8_t byte, uint32_t now_ms) {
    if (byte != 0) {
        if (skipping_) return Event::Nothing;
        if (held_ == sizeof buffer_) {
            ++damaged_;
            skipping_ = true;
            held_ = 0;
            return Event::Nothing;
        }
        buffer_[held_++] = byte;
        return Event::Nothing;
    }
    const uint8_t size = held_;
    held_ = 0;
    skipping_ = false;
    if (size == 0) return Event::Nothing;
    const int16_t decoded = cobs_decode(buffer_, size);
    if (decoded <= CHECK_SIZE || decoded > MAX_PACKET) {
        ++damaged_;
        return Event::Nothing;
    }
    body_size_ = static_cast<uint8_t>(decoded - CHECK_SIZE);
    return packet(now_ms);
}

Receiver::Event Receiver::packet(uint32_t now_ms) {
    const uint8_t kind = buffer_[0] >> 4;
    if (kind == static_cast<uint8_t>(Kind::Hello)) {
        if (!take_hello()) ++damaged_;
        return Event::Nothing;
    }
    if (kind == 0 || kind > static_cast<uint8_t>(Kind::Three)) return Event::Nothing;  // of a later version
    uint32_t number = 0;
    Session* session = session_of(&number);
    if (session == nullptr) {
        ++damaged_;
        return Event::Nothing;
    }
    if (number <= session->newest) {
        ++late_;
        return Event::Nothing;
    }
    const uint32_t newest = session->newest;
    session->newest = number;
    if (kind == static_cast<uint8_t>(Kind::Settings)) return Event::Settings;
    const uint8_t count = decode_frames(buffer_, body_size_, number, history_, &step_);
    if (count == 0) {
        ++damaged_;
        return Event::Nothing;
    }
    for (uint8_t f = 0; f < count; ++f) {
        const Frame& frame = history_.next(f);
        if (frame.limp) continue;
        for (uint8_t i = 0; i < JOINTS; ++i) {
            if (limits_->within(i, frame.pulses[i])) continue;
            refused_ = true;
            return Event::Nothing;
        }
    }
    const uint32_t first = number - uint32_t(count - 1) * step_;
    if (first <= newest) {
        ++late_;
        return Event::Nothing;
    }
    count_ = count;
    for (uint8_t f = 0; f < count; ++f) taken_[f] = &history_.next(f);
    ticks_ = session->taken != 0 ? first - session->taken : 1;
    for (uint8_t f = 0; f < count; ++f) keep(session, first + uint32_t(f) * step_, ticks(f));
    session->taken_at = now_ms;
    fresh_ = true;
    return Event::Frame;
}

void Receiver::keep(Session* session, uint32_t number, uint32_t ticks) {
    // The newest becomes the nearest bit of those before it, and all move on by the ticks between.
    if (session->taken != 0) {
        const uint16_t moved = static_cast<uint16_t>(session->before << 1 | 1);
        session->before = ticks > 16 ? uint16_t(0) : static_cast<uint16_t>(uint32_t(moved) << (ticks - 1));
    }
    session->taken = number;
    history_.keep(number);
}

bool Receiver::fits(const Session* session, uint32_t number) const {
    Crc24 crc;
    if (session != nullptr) add_key(crc, session->hub, session->robot, number);
    crc.add(buffer_, body_size_);
    return crc.is(buffer_ + body_size_);
}

Receiver::Session* Receiver::session_of(uint32_t* number) {
    if (body_size_ < 2) return nullptr;
    if (current_.there) {
        *number = nearest(buffer_[1], current_.newest);
        if (fits(&current_, *number)) return &current_;
    }
    if (pending_.there) {
        *number = nearest(buffer_[1], pending_.newest);
        if (fits(&pending_, *number)) {
            current_ = pending_;
            pending_.there = false;
            history_.clear();
            report_number_ = 0;
            return &current_;
        }
    }
    return nullptr;
}

bool Receiver::take_hello() {
    if (!fits(nullptr, 0) || body_size_ != HELLO_SIZE) return false;
    const uint16_t hub = little16(buffer_ + 2);
    const uint8_t joints = buffer_[4], outputs = buffer_[5], tick = buffer_[6];
    welcome_suits_ = buffer_[1] == WIRE_VERSION && joints == JOINTS && outputs == OUTPUTS && tick == TICK_MS;
    welcome_due_ = true;
    welcome_hub_ = hub;
    welcome_robot_ = 0;
    if (!welcome_suits_) return true;
    if (current_.there && current_.hub == hub) {
        welcome_robot_ = current_.robot;  // said again: the welcome was lost
    } else if (pending_.there && pending_.hub == hub) {
        welcome_robot_ = pending_.robot;
    } else {
        welcome_robot_ = ++own_session_;
        pending_ = Session();
        pending_.hub = hub;
        pending_.robot = own_session_;
        pending_.ack_ms = buffer_[7];
        pending_.telemetry_ms = static_cast<uint16_t>(buffer_[8] * 10);
        pending_.there = true;
    }
    return true;
}

// -- answering ------------------------------------------------------------------------------------------------

void Receiver::send_welcome(const Keeper& keeper) {
    if (!welcome_due_) return;
    welcome_due_ = false;
    uint8_t* at = out_;
    uint8_t low = welcome_suits_ ? 1 : 0;
    if (keeper.kept_in_use()) low |= 2;
    *at++ = first_byte(Kind::Welcome, low);
    *at++ = WIRE_VERSION;
    at = put16(at, welcome_hub_);
    at = put16(at, welcome_robot_);
    *at++ = JOINTS;
    *at++ = OUTPUTS;
    *at++ = static_cast<uint8_t>(cause_);
    for (uint8_t i = 0; i < CHECK_SIZE; ++i) *at++ = keeper.digest()[i];
    send(nullptr, 0, static_cast<uint8_t>(at - out_));
}

void Receiver::send_kept(const Keeper& keeper) {
    if (!current_.there) return;
    ++report_number_;
    uint8_t* at = out_;
    *at++ = first_byte(Kind::Kept, static_cast<uint8_t>(keeper.state()));
    *at++ = static_cast<uint8_t>(report_number_ & 255);
    for (uint8_t i = 0; i < CHECK_SIZE; ++i) *at++ = keeper.digest()[i];
    at = put16(at, keeper.pieces());
    send(&current_, report_number_, static_cast<uint8_t>(at - out_));
}

void Receiver::send_piece(Keeper& keeper) {
    if (!current_.there) return;
    ++report_number_;
    uint8_t* at = out_;
    *at++ = first_byte(Kind::Kept, KEPT_SAID);
    *at++ = static_cast<uint8_t>(report_number_ & 255);
    for (uint8_t i = 0; i < CHECK_SIZE; ++i) *at++ = keeper.digest()[i];
    at += keeper.say(at);
    send(&current_, report_number_, static_cast<uint8_t>(at - out_));
}

Receiver::Report Receiver::due(uint32_t now_ms) const {
    if (!current_.there) return Report::None;
    if (now_ms - telemetry_at_ >= current_.telemetry_ms) return Report::Telemetry;
    if (fresh_ && now_ms - reported_at_ >= current_.ack_ms) return Report::Ack;
    return Report::None;
}

void Receiver::send_report(Kind kind, uint32_t now_ms, const Status* status) {
    fresh_ = false;
    reported_at_ = now_ms;
    if (status != nullptr) telemetry_at_ = now_ms;
    ++report_number_;
    uint8_t held = 255;
    if (current_.taken != 0 && now_ms - current_.taken_at < 255) held = static_cast<uint8_t>(now_ms - current_.taken_at);
    uint8_t* at = out_;
    *at++ = first_byte(kind);
    *at++ = static_cast<uint8_t>(report_number_ & 255);
    *at++ = static_cast<uint8_t>(current_.taken & 255);
    at = put16(at, current_.before);
    *at++ = held;
    if (status != nullptr) {
        at = put16(at, status->battery_mv);
        *at++ = status->faults;
        *at++ = static_cast<uint8_t>(static_cast<uint8_t>(status->activity) | static_cast<uint8_t>(cause_) << 4);
        at = put16(at, status->worst_loop_us);
        at = put16(at, status->uptime_s);
        *at++ = damaged_;
        *at++ = late_;
    }
    send(&current_, report_number_, static_cast<uint8_t>(at - out_));
}

void Receiver::send(const Session* session, uint32_t number, uint8_t size) {
    Crc24 crc;
    if (session != nullptr) add_key(crc, session->hub, session->robot, number);
    crc.add(out_, size);
    crc.put(out_ + size);
    uint8_t packet[sizeof out_ + 2];
    const uint8_t encoded = cobs_encode(out_, static_cast<uint8_t>(size + CHECK_SIZE), packet);
    packet[encoded] = 0;
    board::write(packet, static_cast<uint8_t>(encoded + 1));
}

}  // namespace motionhub
