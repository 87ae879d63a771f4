#include "controller.h"

namespace motionhub {

namespace {

// As in motionhub/link/controller.py, where they are explained.
constexpr uint16_t EASE_US = 10;
constexpr uint16_t EASE_FASTER = 1;
constexpr uint8_t INTERPOLATED = 8;
constexpr uint8_t SETTLE = 25;
constexpr uint16_t HYSTERESIS_MV = 100;
constexpr uint8_t BLINK = 25;
constexpr uint8_t FLASH = 5;
constexpr uint8_t FLASH_EVERY = 100;
constexpr uint16_t FOREVER = 0xFFFF;  // counters of ticks stay there; all their limits are lower

inline void count(uint16_t& ticks) {
    if (ticks != FOREVER) ++ticks;
}

inline uint16_t clamped(uint16_t pulse, uint16_t low, uint16_t high) {
    return pulse < low ? low : pulse > high ? high : pulse;
}

}  // namespace

void Controller::begin(const Limits& limits) {
    limits_ = &limits;
    for (uint8_t i = 0; i < OUTPUT_ROOM; ++i) asked_[i] = outputs_[i] = 0;
    battery_x8_ = 0;
    since_frame_ = below_ = 0;
    since_start_ = START_EVERY_TICKS;
    settled_ = steps_ = waiting_count_ = flash_ = 0;
    low_ = false;
    all_off(Activity::Off);
}

void Controller::resume(Activity activity, const uint16_t* pulses) {
    if (activity == Activity::Off || activity == Activity::Ended) {
        all_off(activity);
        return;
    }
    for (uint8_t i = 0; i < JOINTS; ++i)
        pulses_[i] = pulses[i] == 0 ? uint16_t(0) : clamped(pulses[i], limits_->low[i], limits_->high[i]);
    set(activity == Activity::Lowering ? Activity::Lowering : any_on() ? Activity::Quiet : Activity::Off);
}

void Controller::command(const Frame& frame, uint32_t ticks, bool first) {
    since_frame_ = 0;
    if (activity_ == Activity::Lowering || activity_ == Activity::Ended) return;
    const uint8_t steps = ticks > INTERPOLATED ? INTERPOLATED : ticks < 1 ? uint8_t(1) : static_cast<uint8_t>(ticks);
    if (activity_ != Activity::Following || frame.limp) {
        begin(frame, steps);
        return;
    }
    if (first && waiting_count_ > 1) {
        waiting_[0] = waiting_[waiting_count_ - 1];
        waiting_count_ = 1;
    }
    if (first && waiting_count_ == 0) {
        begin(frame, steps);
    } else if (waiting_count_ < MOST_WAITING) {
        waiting_[waiting_count_].frame = &frame;
        waiting_[waiting_count_++].ticks = steps;
    }
}

void Controller::begin(const Frame& frame, uint8_t ticks) {
    for (uint8_t i = 0; i < OUTPUTS; ++i) asked_[i] = frame.outputs[i];
    if (frame.limp) {
        all_off(Activity::Off);
        return;
    }
    has_target_ = true;
    steps_ = ticks;
    for (uint8_t i = 0; i < JOINTS; ++i) {
        target_[i] = frame.pulses[i];
        if (target_[i] == 0) pulses_[i] = 0;
    }
    if (activity_ == Activity::Off || activity_ == Activity::Quiet || any_missing()) set(Activity::Enabling);
}

void Controller::begin_next() {
    const Waiting next = waiting_[0];
    --waiting_count_;
    for (uint8_t i = 0; i < waiting_count_; ++i) waiting_[i] = waiting_[i + 1];
    begin(*next.frame, next.ticks);
}

void Controller::period(uint16_t battery_mv) {
    count(since_frame_);
    if (since_start_ < START_EVERY_TICKS) ++since_start_;
    watch_battery(battery_mv);
    const bool driven =
        activity_ == Activity::Enabling || activity_ == Activity::Easing || activity_ == Activity::Following;
    if (driven && since_frame_ > QUIET_TICKS) set(Activity::Quiet);
    if (below_ > CUT_OFF_TICKS && activity_ != Activity::Lowering && activity_ != Activity::Ended) {
        silence();
        if (any_on())
            set(Activity::Lowering);
        else
            all_off(Activity::Ended);
    }
    move();
    light();
}

bool Controller::suits(const Limits& limits) const {
    for (uint8_t i = 0; i < JOINTS; ++i) {
        if (!limits.within(i, pulses_[i]) || (has_target_ && !limits.within(i, target_[i]))) return false;
        for (uint8_t f = 0; f < waiting_count_; ++f)
            if (!limits.within(i, waiting_[f].frame->pulses[i])) return false;
    }
    return true;
}

uint8_t Controller::faults() const {
    uint8_t found = 0;
    if (low_) found |= FAULT_BATTERY_LOW;
    if (activity_ == Activity::Lowering || activity_ == Activity::Ended) found |= FAULT_BATTERY_EMPTY;
    if (activity_ == Activity::Quiet) found |= FAULT_QUIET;
    return found;
}

void Controller::move() {
    switch (activity_) {
        case Activity::Quiet:
            silence();
            ease_to(limits_->rest);
            break;
        case Activity::Lowering:
            settled_ = ease_to(limits_->lowered) ? static_cast<uint8_t>(settled_ + 1) : uint8_t(0);
            if (settled_ > SETTLE) all_off(Activity::Ended);
            break;
        case Activity::Enabling:
            start_some();
            break;
        case Activity::Easing:
            ease_ = static_cast<uint16_t>(ease_ + EASE_FASTER);
            if (ease_to(target_)) set(Activity::Following);
            break;
        case Activity::Following:
            if (steps_ == 0 && waiting_count_ != 0) begin_next();
            if (activity_ != Activity::Following || steps_ == 0) break;
            for (uint8_t i = 0; i < JOINTS; ++i) {
                // Toward zero, as C divides; most frames come tick by tick and need no division.
                const int16_t gap = static_cast<int16_t>(target_[i] - pulses_[i]);
                const int16_t step = steps_ == 1 ? gap : static_cast<int16_t>(gap / steps_);
                pulses_[i] = static_cast<uint16_t>(pulses_[i] + step);
            }
            --steps_;
            break;
        case Activity::Off:
        case Activity::Ended:
            break;
    }
}

void Controller::start_some() {
    if (!any_missing()) {
        set(Activity::Easing);
        return;
    }
    if (since_start_ < START_EVERY_TICKS) return;
    since_start_ = 0;
    uint8_t left = START_AT_ONCE;
    for (uint8_t i = 0; i < JOINTS && left != 0; ++i) {
        if (!missing(i)) continue;
        pulses_[i] = limits_->rest[i];
        --left;
    }
}

bool Controller::ease_to(const uint16_t* target) {
    bool there = true;
    for (uint8_t i = 0; i < JOINTS; ++i) {
        const uint16_t wanted = target[i], pulse = pulses_[i];
        if (pulse == 0 || wanted == 0) continue;
        const bool up = wanted >= pulse;
        const uint16_t gap = static_cast<uint16_t>(up ? wanted - pulse : pulse - wanted);
        const uint16_t step = gap < ease_ ? gap : ease_;
        pulses_[i] = static_cast<uint16_t>(up ? pulse + step : pulse - step);
        if (gap > ease_) there = false;
    }
    return there;
}

bool Controller::any_missing() const {
    for (uint8_t i = 0; i < JOINTS; ++i)
        if (missing(i)) return true;
    return false;
}

bool Controller::any_on() const {
    for (uint8_t i = 0; i < JOINTS; ++i)
        if (pulses_[i] != 0) return true;
    return false;
}

void Controller::set(Activity activity) {
    waiting_count_ = 0;
    activity_ = activity;
    ease_ = EASE_US;
}

void Controller::all_off(Activity activity) {
    set(activity);
    for (uint8_t i = 0; i < JOINTS; ++i) pulses_[i] = 0;
    has_target_ = false;
}

void Controller::silence() {
    for (uint8_t i = 0; i < OUTPUTS; ++i)
        if (table_u8(&OUTPUT_TABLE[i].silenced)) asked_[i] = 0;
}

void Controller::light() {
    flash_ = flash_ + 1 == FLASH_EVERY ? uint8_t(0) : static_cast<uint8_t>(flash_ + 1);
    const bool ended = activity_ == Activity::Ended, lowering = activity_ == Activity::Lowering;
    const bool lit = ended ? flash_ < FLASH : lowering || flash_ % (2 * BLINK) < BLINK;
    for (uint8_t i = 0; i < OUTPUTS; ++i) {
        if ((ended || lowering || low_) && table_u8(&OUTPUT_TABLE[i].warns))
            outputs_[i] = lit ? 255 : 0;
        else
            outputs_[i] = ended ? uint8_t(0) : asked_[i];
    }
}

void Controller::watch_battery(uint16_t mv) {
    if (battery_x8_ == 0) battery_x8_ = uint32_t(mv) << 3;
    battery_x8_ = battery_x8_ + mv - battery_mv();
    const uint16_t level = battery_mv();
    if (level < WARN_MV)
        low_ = true;
    else if (level > WARN_MV + HYSTERESIS_MV)
        low_ = false;
    if (level < CUT_OFF_MV)
        count(below_);
    else
        below_ = 0;
}

}  // namespace motionhub
