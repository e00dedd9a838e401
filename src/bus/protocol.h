// A bus description made usable: frames to bytes, bytes to frames, forwarding, payloads.
// Pure: no clock, no I/O; never throws on bad bytes and never reads past what it is given.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.h"
#include "bus/description.h"
#include "bus/frame.h"

namespace hopbench {

/// What is wrong with bytes that should have been a frame.
enum class Damage : std::uint8_t {
  none,
  check,      // a check value does not agree
  too_short,  // ended before the frame did
  too_long,   // went on after the frame had ended, or beyond the longest frame
  malformed,  // a constant, a stuffing rule, a digit or a repeated size is wrong
};

/// One value of a payload: which field, which repetition of its group (0 outside groups), raw and scaled.
struct PayloadValue {
  std::uint32_t item = 0;   // index into the layout
  std::uint32_t field = 0;  // index into the group's fields; 0 for a plain field
  std::uint32_t repetition = 0;
  std::uint64_t raw = 0;
  std::int64_t value = 0;  // by the field's scale and sign, saturated
};

/// Where the values of a payload come from while it is being filled.
class PayloadSource {
 public:
  /// Value of the quantity, in the quantity's own unit; none if the station has no such thing.
  virtual std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) = 0;
  /// Raw value for a field that is neither constant nor quantity nor copied (ask arguments, counts).
  virtual std::optional<std::uint64_t> argument(std::string_view field) = 0;
  /// The same for a field of a group, which each repetition asks for anew.
  virtual std::optional<std::uint64_t> argument_in(std::string_view field, std::uint32_t repetition) {
    static_cast<void>(repetition);
    return argument(field);
  }

 protected:
  ~PayloadSource() = default;
};

/// Why a station refuses. The bus maps reasons to codes; a reason without a code uses the first one (`too_long`, an
/// answer that would be longer than a frame: the one of bad_value, if there is one).
enum class Refusal : std::uint8_t { unknown_topic, bad_address, bad_value, busy, bad_check, too_long };
std::string_view name_of(Refusal reason);

class Protocol {
 public:
  /// Problems of a description in one line each; empty if it can be used. Checked before construction
  /// (text/ gives them file positions through `part`: the dotted path of the culprit, e.g. "parts[3].field.bits").
  struct Fault {
    std::string part;
    std::string what;
  };
  static std::vector<Fault> faults_of(const BusDescription& description);

  /// The description must have no faults.
  explicit Protocol(BusDescription description);
  ~Protocol();
  Protocol(const Protocol&) = delete;
  Protocol& operator=(const Protocol&) = delete;

  [[nodiscard]] const BusDescription& description() const;
  [[nodiscard]] const LineCoding& line() const { return description().line; }

  // --- whole frames -------------------------------------------------------------------------------
  /// Content with all checks made. Sizes and counts that follow from the payload are set first.
  void encode(const Frame& frame, Content& content) const;
  /// Boundaries, stuffing, hex text around content.
  void wrap(std::span<const std::uint8_t> content, WireBytes& wire) const;
  /// Characters on the wire for this frame: closed form, or by encoding where stuffing depends on data.
  [[nodiscard]] std::uint32_t wire_chars(const Frame& frame) const;
  /// Whether asks and answers of this topic are as long on the wire whatever quantities are told in them.
  [[nodiscard]] bool length_is_steady(std::uint32_t topic) const;
  /// Reads content. With Damage::check the frame is filled in as read. `role` as told by the bytes;
  /// by_position and by_pending_ask leave it Role::ask (unless a mark says refusal), and a role code that
  /// is not described is a notice, which asks nothing of anybody.
  [[nodiscard]] Damage parse(std::span<const std::uint8_t> content, Frame& frame) const;

  /// The frame as whoever hears it well reads it: sizes and counts that follow from its payload are set, the role is as
  /// its bytes tell. None if its bytes make no good frame, for want of room.
  [[nodiscard]] std::optional<Frame> as_read(const Frame& frame) const;

  /// Bytes of this frame's content.
  [[nodiscard]] std::size_t content_bytes(const Frame& frame) const;
  /// Whether damage in it can be told: false for a shape without checks, such as a single character. Such a frame is
  /// believed in step only. Always true where all frames have one shape.
  [[nodiscard]] bool is_checked(const Frame& frame) const;
  /// Longest content and longest payload that a frame may have.
  [[nodiscard]] std::size_t most_content() const;
  [[nodiscard]] std::size_t most_payload() const;
  /// Sized framing: what the first bytes of a supposed frame say of its length. 0: more bytes are needed
  /// to tell; none: no frame begins like that (marker, header check, repeated size, bounds).
  [[nodiscard]] std::optional<std::size_t> sized_length(std::span<const std::uint8_t> start) const;

  // --- the head: what a node must have read before it can decide to pass a frame on --------------------
  /// Bytes of content up to the last part that the decision needs (destination, passes left, header
  /// check); 0 if the framing hides them (stuffing, text) and only whole frames can be judged.
  [[nodiscard]] std::size_t head_bytes() const;
  /// The same for a node that sends characters on as they come: 0 also where markers stand around the content, which
  /// such a node does not look for.
  [[nodiscard]] std::size_t relay_head_bytes() const;
  /// Header fields from the first head_bytes() of content; none if the header check is bad.
  [[nodiscard]] std::optional<Frame> parse_head(std::span<const std::uint8_t> head) const;

  // --- roles --------------------------------------------------------------------------------------
  /// Where a frame is bound for. Addresses: broadcast, controller, own address, first unenrolled are tried in
  /// that order; on a bus without a source field all but asks go to the controller. Distances: 0 is here,
  /// the controller's value is the controller. A bus without destinations: asks are for whoever hears them.
  enum class Bound : std::uint8_t { here, elsewhere, everyone, first_unenrolled, controller };
  [[nodiscard]] Bound bound_for(const Frame& frame, std::optional<std::uint64_t> own_address) const;
  [[nodiscard]] std::optional<std::uint64_t> destination(const Frame& frame) const;
  /// Whether a node may have this address: it fits, and is not everyone's, the controller's, or that of nodes without.
  [[nodiscard]] bool may_be_an_address(std::uint64_t address) const;
  /// Whether one may be the other on its way: equal but for their roles and for what forwarding rewrites.
  [[nodiscard]] bool same_on_its_way(const Frame& a, const Frame& b) const;
  /// Who sent it. Without a source field an answer's or refusal's address is its sender's; else none.
  [[nodiscard]] std::optional<std::uint64_t> source(const Frame& frame) const;
  [[nodiscard]] std::optional<std::uint64_t> exchange(const Frame& frame) const;
  [[nodiscard]] std::uint64_t exchange_limit() const;  // largest exchange number; 0 if the bus has none
  [[nodiscard]] std::optional<std::uint64_t> passes_left(const Frame& frame) const;
  /// Topic of a frame, refusal mark removed; none if the code is not described. An answer may have a code of its own,
  /// so the frame's role counts.
  [[nodiscard]] std::optional<std::uint32_t> topic(const Frame& frame) const;
  /// Whether the frame names a topic at all: a single character does not, and answers whatever is pending.
  [[nodiscard]] bool names_topic(const Frame& frame) const;
  /// Whether it may be an answer to an ask for this topic: it names it, or it names none and has the shape of its
  /// answers.
  [[nodiscard]] bool may_answer(const Frame& answer, std::uint32_t topic) const;
  /// Whether all frames of this one's shape have one role, so that the frame tells it on any bus.
  [[nodiscard]] bool shape_tells_role(const Frame& frame) const;
  [[nodiscard]] std::optional<std::uint32_t> topic_named(std::string_view name) const;
  [[nodiscard]] const TopicSpec& topic_spec(std::uint32_t topic) const;

  // --- making frames ------------------------------------------------------------------------------
  /// Header of an ask: constants, destination (address, or distance in hops), exchange, topic, passes left.
  [[nodiscard]] Frame ask(std::uint32_t topic, std::uint64_t destination, std::uint64_t exchange,
                          std::uint64_t passes_left) const;
  /// Header of the answer to `ask` from a node with `own_address`; the payload is empty.
  [[nodiscard]] Frame answer_to(const Frame& ask, std::uint64_t own_address, std::uint64_t passes_left) const;
  /// Whether the bus has a way to refuse; without it refusal_of() gives an empty answer.
  [[nodiscard]] bool can_refuse() const;
  /// A whole refusal of `ask`.
  [[nodiscard]] Frame refusal_of(const Frame& ask, std::uint64_t own_address, std::uint64_t passes_left,
                                 Refusal reason) const;
  /// Gives the frame another exchange number, cut to what the bus has room for; nothing if the bus has none.
  void name_exchange(Frame& frame, std::uint64_t number) const;
  /// Reason and code in a refusal.
  [[nodiscard]] std::optional<std::uint64_t> refusal_code(const Frame& refusal) const;

  enum class Side : std::uint8_t { ask, answer };
  /// Fills the payload of `frame` (its topic decides the layout). `asked`: the ask's payload, for fields
  /// copied from it and for answers that it measures out; empty when filling an ask. Returns the reason if
  /// it cannot be filled (more values than a frame holds: too_long; register or cell out of range: bad_address; count
  /// out of range, or an argument that is missing or too large: bad_value; a quantity that the station lacks, or no
  /// such topic: unknown_topic). What the payload then holds means nothing.
  /// In an ask, arguments go before quantities, so that a plan can set what a node would fill.
  [[nodiscard]] std::optional<Refusal> fill(Frame& frame, Side side, std::span<const std::uint8_t> asked,
                                            PayloadSource& source) const;
  /// Reads a payload by the layout of its topic and side. Returns false if it does not fit the layout.
  bool read(const Frame& frame, Side side, std::vector<PayloadValue>& values) const;
  /// The values that an ask measures out for its answer, by its first and count fields: registers or cells. `count` 1
  /// without a count field. None if this topic's answer has no such values, or the ask's payload does not fit.
  struct Span {
    std::uint64_t first = 0;
    std::uint64_t count = 0;
  };
  [[nodiscard]] std::optional<Span> values_asked(const Frame& ask) const;
  /// How many of them an answer holds.
  [[nodiscard]] std::uint64_t values_told(const Frame& answer) const;
  /// Whether its payload can be read as that of an ask; of an answer, or of a refusal if that is its role.
  [[nodiscard]] bool reads_as_ask(const Frame& frame) const { return reads_as(frame, Side::ask); }
  [[nodiscard]] bool reads_as_answer(const Frame& frame) const { return reads_as(frame, Side::answer); }
  /// Raw value of a named plain field of a payload; none if absent or the payload is too short.
  [[nodiscard]] std::optional<std::uint64_t> value_of(const Frame& frame, Side side, std::string_view field) const;

  /// The register span that shows this register; null if none does.
  [[nodiscard]] const RegisterSpec* register_at(std::uint64_t address) const;

  /// A write, as asked: calls `write(quantity, index, value)` for each register of the ask's values group and
  /// for each ask field that names a quantity; returns the reason if a register is unknown or not writable
  /// or the payload does not fit (then nothing was called). An ask that only reads calls nothing.
  class RegisterWriter {
   public:
    virtual void write(std::string_view quantity, std::uint32_t index, std::int64_t value) = 0;

   protected:
    ~RegisterWriter() = default;
  };
  [[nodiscard]] std::optional<Refusal> apply_writes(const Frame& ask, RegisterWriter& writer) const;
  /// The quantities that an answer tells of, by the same call: from its fields, and from the registers that the ask
  /// wanted (`asked`: the ask's payload). Returns false if the payload does not fit (some may have been called then).
  bool told(const Frame& answer, std::span<const std::uint8_t> asked, RegisterWriter& listener) const;

  // --- forwarding ---------------------------------------------------------------------------------
  /// Rewrites the fields that forwarding changes. Returns false if the frame must be taken off the chain
  /// instead: passes left is used up, that is, it was 0 when the frame came in.
  [[nodiscard]] bool forward(Frame& frame) const;
  /// The same on content as heard, check repaired as the bus says. Never makes a bad check good: the checks
  /// that were wrong in `content` are wrong afterwards. Returns false if the frame must be taken off, or is
  /// too short to have the fields at all (content is then as it was).
  [[nodiscard]] bool forward_bytes(Content& content) const;

  /// Content as it was before forward_bytes() made it what it is, checks mended the same way. Where a field was spared
  /// or cannot be found it stays as it is.
  void undo_forward(Content& content) const;

  /// Puts `raw` into the header field at this place of Frame::field, in content as heard. Checks that change with
  /// forwarding are mended as forward_bytes() mends them; the others stay as they were. Returns false, and does
  /// nothing, if the content is too short.
  [[nodiscard]] bool overwrite(Content& content, std::size_t place, std::uint64_t raw) const;

  // --- silence ------------------------------------------------------------------------------------
  /// Pause that ends a frame, for silence framing and for markers without an end; 0 otherwise. `period`: the
  /// receiver's bit. A pause given in microseconds is not scaled by the receiver's clock.
  [[nodiscard]] Nanos end_silence(Period period) const;
  /// Pause after which half a frame is forgotten; `never` if not described.
  [[nodiscard]] Nanos abandon_silence(Period period) const;
  /// Pause that a sender leaves between frames. Where silence ends a frame: at least half a character more
  /// than that silence, since a character exactly on the limit still counts as in time.
  [[nodiscard]] Nanos least_gap(Period period) const;

 private:
  [[nodiscard]] bool reads_as(const Frame& frame, Side side) const;

  struct Plan;
  std::unique_ptr<const Plan> plan_;
};

}  // namespace hopbench
