#include "kept.h"

#include "board.h"

namespace motionhub {

namespace {

// The first byte of a slot. Only IN_PLACE makes it count, and it is written last; WRITING is written first.
constexpr uint8_t BLANK = 0xFF;
constexpr uint8_t WRITING = 0x00;
constexpr uint8_t IN_PLACE = 0xA5;
constexpr uint8_t LOOKED_AT_ONCE = 8;  // places that are compared in a tick; at most one of them is written

constexpr uint8_t PIECE_OF = 0, KEEP = 1, SAY = 2;  // low bits of a settings packet

inline uint16_t slot_at(uint8_t slot) { return static_cast<uint16_t>(SLOTS_AT + slot * SLOT); }

struct Record {
    uint16_t low, high;
    int16_t trim;
    uint16_t scale;
    bool reversed;
    uint8_t joint;
};

// Seven bytes: low (12 bits), high (12), trim (12, two's complement), 1 if reversed (1), scale in 1024ths (11), joint (6).
Record unpack(const uint8_t* at) {
    Record record;
    record.low = static_cast<uint16_t>(at[0] | (at[1] & 15) << 8);
    record.high = static_cast<uint16_t>(at[1] >> 4 | at[2] << 4);
    const uint16_t trim = static_cast<uint16_t>(at[3] | (at[4] & 15) << 8);
    record.trim = static_cast<int16_t>(trim & 0x800 ? trim - 0x1000 : trim);
    record.reversed = (at[4] & 16) != 0;
    record.scale = static_cast<uint16_t>(at[4] >> 5 | at[5] << 3);
    record.joint = at[6];
    return record;
}

void pack(const Record& record, uint8_t* at) {
    const uint16_t trim = static_cast<uint16_t>(record.trim);
    at[0] = static_cast<uint8_t>(record.low & 255);
    at[1] = static_cast<uint8_t>((record.low >> 8 & 15) | (record.high & 15) << 4);
    at[2] = static_cast<uint8_t>(record.high >> 4 & 255);
    at[3] = static_cast<uint8_t>(trim & 255);
    at[4] = static_cast<uint8_t>((trim >> 8 & 15) | (record.reversed ? 16 : 0) | (record.scale & 7) << 5);
    at[5] = static_cast<uint8_t>(record.scale >> 3 & 255);
    at[6] = record.joint;
}

Record exported(uint8_t joint) {
    const JointLine& line = JOINT_TABLE[joint];
    Record record;
    record.low = table_u16(&line.low);
    record.high = table_u16(&line.high);
    record.trim = table_i16(&line.trim);
    record.reversed = table_u8(&line.reversed) != 0;
    record.scale = table_u16(&line.scale);
    record.joint = table_u8(&line.whose);
    return record;
}

bool sound(const uint8_t* at) {
    const Record record = unpack(at);
    if (record.joint >= JOINTS) return false;
    const JointLine& line = JOINT_TABLE[record.joint];
    return table_u16(&line.hard_low) <= record.low && record.low < record.high &&
           record.high <= table_u16(&line.hard_high) && record.scale >= SCALE_ONE / 2;
}

uint16_t pose(const JointLine& line, const Record& record, int16_t from_mid) {
    // Up to 4095, 8190 and 2047, so 16 bits hold the sum.
    const uint16_t far = static_cast<uint16_t>(from_mid < 0 ? -from_mid : from_mid);
    const int16_t scaled = static_cast<int16_t>((uint32_t(far) * record.scale + SCALE_ONE / 2) / SCALE_ONE);
    const int16_t away = static_cast<int16_t>((from_mid < 0) != record.reversed ? -scaled : scaled);
    const int16_t pulse = static_cast<int16_t>(table_i16(&line.mid) + away + record.trim);
    const int16_t low = static_cast<int16_t>(record.low), high = static_cast<int16_t>(record.high);
    return static_cast<uint16_t>(pulse < low ? low : pulse > high ? high : pulse);
}

void apply(uint8_t connector, const Record& record, Limits& limits) {
    const JointLine& line = JOINT_TABLE[record.joint];
    limits.low[connector] = record.low;
    limits.high[connector] = record.high;
    limits.rest[connector] = pose(line, record, table_i16(&line.rest));
    limits.lowered[connector] = pose(line, record, table_i16(&line.lowered));
}

void read(uint16_t at, uint8_t* out, uint8_t size) {
    for (uint8_t i = 0; i < size; ++i) out[i] = board::eeprom_read(static_cast<uint16_t>(at + i));
}

bool same(const uint8_t* a, const uint8_t* b) { return a[0] == b[0] && a[1] == b[1] && a[2] == b[2]; }

}  // namespace

void Keeper::begin(Limits& limits) {
    Crc24 all, image;
    for (uint8_t i = 0; i < JOINTS; ++i) {
        uint8_t record[RECORD];
        pack(exported(i), record);
        image.add(record, RECORD);
        all.add(record, RECORD);
        const JointLine& line = JOINT_TABLE[i];
        all.add16(table_u16(&line.hard_low));
        all.add16(table_u16(&line.hard_high));
        all.add16(static_cast<uint16_t>(table_i16(&line.mid)));
        all.add16(static_cast<uint16_t>(table_i16(&line.rest)));
        all.add16(static_cast<uint16_t>(table_i16(&line.lowered)));
        apply(i, exported(i), limits);
    }
    all.put(export_);
    image.put(digest_);
    pieces_ = written_ = 0;
    state_ = KeptState::Missing;
    in_use_ = EXPORT;
    asked_ = NONE;
    newest_ = 1;
    generation_ = 0;
    other_damaged_ = damaged_ = reply_due_ = false;

    uint8_t generations[2] = {0, 0};
    const Slot slots[2] = {look(0, &generations[0]), look(1, &generations[1])};
    damaged_ = slots[0] == Slot::Damaged || slots[1] == Slot::Damaged;
    const bool good[2] = {slots[0] == Slot::Good, slots[1] == Slot::Good};
    if (!good[0] && !good[1]) {
        // Written first is slot 0; when it is over, a damaged slot 1 has to be emptied.
        other_damaged_ = slots[1] == Slot::Damaged;
        return;
    }
    // Of two, the generation that is up to 127 ahead of the other.
    newest_ = !good[0] ? 1 : !good[1] ? 0 : static_cast<uint8_t>(generations[0] - generations[1]) < 128 ? 0 : 1;
    generation_ = generations[newest_];
    in_use_ = newest_;
    Crc24 kept;
    uint16_t at = static_cast<uint16_t>(slot_at(newest_) + 5);
    for (uint8_t i = 0; i < JOINTS; ++i, at = static_cast<uint16_t>(at + RECORD)) {
        uint8_t record[RECORD];
        read(at, record, RECORD);
        kept.add(record, RECORD);
        apply(i, unpack(record), limits);
    }
    kept.put(digest_);
}

Keeper::Slot Keeper::look(uint8_t slot, uint8_t* generation) const {
    uint16_t at = slot_at(slot);
    const uint8_t marker = board::eeprom_read(at++);
    if (marker == BLANK || marker == WRITING) return Slot::Empty;
    if (marker != IN_PLACE) return Slot::Damaged;
    Crc24 crc;
    uint8_t bytes[RECORD];
    read(at, bytes, 4);
    crc.add(bytes, 4);
    *generation = bytes[0];
    const bool own = same(bytes + 1, export_);
    at = static_cast<uint16_t>(at + 4);
    bool all_sound = true;
    for (uint8_t i = 0; i < JOINTS; ++i, at = static_cast<uint16_t>(at + RECORD)) {
        read(at, bytes, RECORD);
        crc.add(bytes, RECORD);
        if (!sound(bytes)) all_sound = false;
    }
    read(at, bytes, CHECK_SIZE);
    if (!crc.is(bytes)) return Slot::Damaged;
    if (!own) return Slot::Other;
    return all_sound ? Slot::Good : Slot::Damaged;
}

bool Keeper::take(const uint8_t* body, uint8_t size) {
    switch (body[0] & 15) {
        case PIECE_OF: {
            if (size < 3 || body[2] >= PIECES) return false;
            const uint8_t piece = body[2];
            const uint16_t at = static_cast<uint16_t>(piece * PIECE);
            const uint8_t length = length_of(piece);
            if (size != 3 + length) return false;
            if (state_ == KeptState::Writing) return true;  // it would be half of each
            for (uint8_t i = 0; i < length; ++i) staged_[at + i] = body[3 + i];
            pieces_ = static_cast<uint16_t>(pieces_ | 1U << piece);
            state_ = KeptState::Missing;
            return true;
        }
        case KEEP:
            if (size != 2 + CHECK_SIZE) return false;
            reply_due_ = true;
            keep(body + 2);
            return true;
        case SAY:
            if (size != 3 || body[2] >= PIECES) return false;
            asked_ = body[2];
            return true;
        default:
            return false;
    }
}

uint8_t Keeper::say(uint8_t* out) {
    const uint8_t piece = asked_;
    asked_ = NONE;
    *out++ = piece;
    const uint8_t length = length_of(piece);
    if (in_use_ == EXPORT) {
        for (uint8_t i = 0; i < length; i = static_cast<uint8_t>(i + RECORD))
            pack(exported(static_cast<uint8_t>(piece * (PIECE / RECORD) + i / RECORD)), out + i);
    } else {
        read(static_cast<uint16_t>(slot_at(in_use_) + 5 + piece * PIECE), out, length);
    }
    return static_cast<uint8_t>(1 + length);
}

void Keeper::keep(const uint8_t* digest) {
    if (state_ == KeptState::Writing) return;
    // Asked again how it ended. What failed is tried again when its pieces come again.
    const bool ended = state_ == KeptState::Waiting || state_ == KeptState::Kept || state_ == KeptState::Failed;
    if (ended && same(digest, staged_digest_)) return;
    if (pieces_ != static_cast<uint16_t>((uint32_t(1) << PIECES) - 1)) {
        state_ = KeptState::Missing;
        return;
    }
    Crc24 crc;
    for (uint16_t i = 0; i < IMAGE; ++i) crc.add(staged_[i]);
    if (!crc.is(digest)) {
        // Pieces of another set among them: all of them anew.
        pieces_ = 0;
        state_ = KeptState::Missing;
        return;
    }
    for (uint8_t i = 0; i < JOINTS; ++i) {
        if (sound(staged_ + RECORD * uint16_t(i))) continue;
        state_ = KeptState::Refused;
        return;
    }
    crc.put(staged_digest_);
    start_writing();
}

void Keeper::start_writing() {
    Crc24 crc;
    crc.add(next_generation());
    crc.add(export_, CHECK_SIZE);
    for (uint16_t i = 0; i < IMAGE; ++i) crc.add(staged_[i]);
    crc.put(check_);
    written_ = 0;
    state_ = KeptState::Writing;
}

uint8_t Keeper::byte_of_slot(uint16_t at) const {
    if (at == 0) return WRITING;
    if (at == SLOT) return IN_PLACE;  // the marker again
    if (at == 1) return next_generation();
    if (at < 5) return export_[at - 2];
    if (at < 5 + IMAGE) return staged_[at - 5];
    return check_[at - 5 - IMAGE];
}

bool Keeper::tick() {
    if (state_ == KeptState::Waiting) return true;
    if (state_ != KeptState::Writing) return false;
    const uint8_t slot = newest_ ^ 1;
    for (uint8_t i = 0; i < LOOKED_AT_ONCE; ++i) {
        if (written_ > SLOT) {
            finish_writing();
            return false;
        }
        const uint16_t at = static_cast<uint16_t>(slot_at(slot) + (written_ == SLOT ? 0 : written_));
        const uint8_t value = byte_of_slot(written_++);
        if (board::eeprom_read(at) != value) {
            board::eeprom_write(at, value);
            return false;
        }
    }
    return false;
}

void Keeper::finish_writing() {
    const uint8_t slot = newest_ ^ 1;
    uint8_t generation = 0, check[CHECK_SIZE];
    read(static_cast<uint16_t>(slot_at(slot) + SLOT - CHECK_SIZE), check, CHECK_SIZE);
    if (look(slot, &generation) != Slot::Good || !same(check, check_)) {
        damaged_ = true;
        state_ = KeptState::Failed;
        return;
    }
    if (other_damaged_) {
        board::eeprom_write(slot_at(newest_), WRITING);
        other_damaged_ = false;
    }
    newest_ = slot;
    generation_ = generation;
    damaged_ = false;
    pieces_ = 0;
    state_ = KeptState::Waiting;
}

void Keeper::used() {
    for (uint8_t i = 0; i < CHECK_SIZE; ++i) digest_[i] = staged_digest_[i];
    in_use_ = newest_;
    state_ = KeptState::Kept;
}

void Keeper::unpack_staged(Limits& limits) const {
    for (uint8_t i = 0; i < JOINTS; ++i) apply(i, unpack(staged_ + RECORD * uint16_t(i)), limits);
}

}  // namespace motionhub
