// Trim, direction, scale and end points that the hub has sent: kept in EEPROM, and used for the robot's own poses and
// limits. The twin of motionhub/link/kept.py, whose page says what goes over the wire and how it is kept.
#pragma once

#include "crc.h"
#include "limits.h"
#include "wire.h"

namespace motionhub {

constexpr uint8_t RECORD = 7;                        // bytes a connector
constexpr uint16_t IMAGE = RECORD * uint16_t(JOINTS);
constexpr uint8_t PIECE = 4 * RECORD;                // bytes in one packet
constexpr uint8_t PIECES = (JOINTS + 3) / 4;
constexpr uint16_t SCALE_ONE = 1024;
constexpr uint16_t SLOT = 1 + 1 + 3 + IMAGE + 3;     // marker, generation, export's digest, image, check
constexpr uint16_t BOOTS_AT = 0;                     // two bytes: how often the controller has started
constexpr uint16_t SLOTS_AT = 8;
constexpr uint16_t KEPT_END = SLOTS_AT + 2 * SLOT;

enum class KeptState : uint8_t { Missing = 0, Writing, Kept, Waiting, Refused, Failed };

class Keeper {
  public:
    // Reads what is kept into `limits`; what the export says where nothing good is kept.
    void begin(Limits& limits);

    // Takes a settings packet whose check was good, first byte and number included. False if it is not made like one.
    bool take(const uint8_t* body, uint8_t size);

    // Writes at most one byte. True when new settings wait to be used: then use() once the moment suits.
    bool tick();
    void proposed(Limits& limits) const { unpack_staged(limits); }
    void used();

    bool damaged() const { return damaged_; }
    bool kept_in_use() const { return in_use_ != EXPORT; }
    const uint8_t* digest() const { return digest_; }
    // Whether an answer is due; asking forgets it.
    bool reply_due() {
        const bool due = reply_due_;
        reply_due_ = false;
        return due;
    }
    KeptState state() const { return state_; }
    uint16_t pieces() const { return pieces_; }
    // Whether a piece of what is in use was asked for; then say() writes its number and it, and forgets the question.
    bool asked() const { return asked_ != NONE; }
    uint8_t say(uint8_t* out);

  private:
    enum class Slot : uint8_t { Empty, Damaged, Other, Good };
    static constexpr uint8_t EXPORT = 2, NONE = 255;

    static uint8_t length_of(uint8_t piece) {
        const uint16_t left = static_cast<uint16_t>(IMAGE - piece * PIECE);
        return left < PIECE ? static_cast<uint8_t>(left) : PIECE;
    }

    Slot look(uint8_t slot, uint8_t* generation) const;
    void unpack_staged(Limits& limits) const;
    void keep(const uint8_t* digest);
    void start_writing();
    uint8_t byte_of_slot(uint16_t at) const;
    uint8_t next_generation() const { return static_cast<uint8_t>(generation_ + 1); }
    void finish_writing();

    uint8_t staged_[IMAGE];
    uint8_t export_[3];    // digest of what the export says: what is kept under another one is not for this program
    uint8_t digest_[3];    // of the image in use
    uint8_t staged_digest_[3];
    uint8_t check_[3];     // of the slot being written
    uint16_t pieces_;      // bit i: piece i has arrived
    uint16_t written_;     // how far the writing is
    KeptState state_;
    uint8_t newest_;       // slot of the newest good settings; 1 where there are none, so that 0 is written first
    uint8_t generation_;   // of that slot
    uint8_t in_use_;       // slot of what is in use, or EXPORT
    uint8_t asked_;        // piece of it that was asked for, or NONE
    bool other_damaged_, damaged_, reply_due_;
};

}  // namespace motionhub
