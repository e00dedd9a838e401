// Captures whose check values are all good and whose records hold what no writer would write: values at the ends of
// their range, values of a later version, numbers of things that are not there.
#pragma once

#include <google/protobuf/message.h>

#include <array>
#include <limits>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "capture.pb.h"
#include "record/capture_tools.h"
#include "record/row_columns.h"
#include "support/catch.h"

namespace hopbench::sample {

/// A record as its message. Kinds that are no message of their own are left alone.
inline std::unique_ptr<google::protobuf::Message> message_of(std::uint8_t kind) {
  switch (static_cast<RecordKind>(kind)) {
    case RecordKind::head:
      return std::make_unique<capture::Head>();
    case RecordKind::build:
      return std::make_unique<capture::Build>();
    case RecordKind::clean_exchange:
    case RecordKind::touched_exchange:
      return std::make_unique<capture::Exchange>();
    case RecordKind::stray:
      return std::make_unique<capture::Stray>();
    case RecordKind::arrival:
      return std::make_unique<capture::Arrival>();
    case RecordKind::end:
      return std::make_unique<capture::End>();
    case RecordKind::tally:
      return std::make_unique<capture::Tally>();
    case RecordKind::state:
      return std::make_unique<capture::State>();
    case RecordKind::gap:
      return std::make_unique<capture::Gap>();
    case RecordKind::dropped:
      return std::make_unique<capture::Dropped>();
    case RecordKind::command:
    case RecordKind::note:
      return std::make_unique<capture::Remark>();
    case RecordKind::hole:
      break;
  }
  return nullptr;
}

/// Changes one field of a message, or of one inside it, whatever fields the format has by now.
class Forger {
 public:
  explicit Forger(Dice& dice) : dice_(dice) {}

  void forge(google::protobuf::Message& message) {
    const auto* description = message.GetDescriptor();
    const auto* reflection = message.GetReflection();
    const auto* field =
        description->field(static_cast<int>(dice_.below(static_cast<std::uint64_t>(description->field_count()))));
    if (!field->is_repeated()) return set(message, *field);
    const int size = reflection->FieldSize(message, field);
    const auto what = dice_.below(4);
    if (size > 0 && what == 0) return reflection->RemoveLast(&message, field);
    if (size == 0 || what == 1) {
      // One more, or far too many.
      const auto more = dice_.chance(8) ? 70'000U : 1U + dice_.below(3);
      for (std::uint64_t i = 0; i < more; ++i) add(message, *field);
      return;
    }
    const int at = static_cast<int>(dice_.below(static_cast<std::uint64_t>(size)));
    if (field->cpp_type() == google::protobuf::FieldDescriptor::CPPTYPE_MESSAGE) {
      return forge(*reflection->MutableRepeatedMessage(&message, field, at));
    }
    set_repeated(message, *field, at);
  }

  std::uint64_t number() {
    constexpr auto far = static_cast<std::uint64_t>(farthest_instant);
    constexpr std::array<std::uint64_t, 22> ends{0,           1,           2,      57,         255,       256,
                                                 4095,        4096,        65'535, 65'536,     1U << 20U, 0x7fffffff,
                                                 1U << 31U,   0xffffffff,  far,    far + 1,    2 * far,   2 * far + 1,
                                                 ~0ULL >> 1U, 1ULL << 63U, ~0ULL,  1ULL << 62U};
    if (dice_.chance(4)) return dice_.next() >> dice_.below(64);
    const auto value = ends[dice_.below(ends.size())];
    return dice_.chance(3) ? ~value + 1 : value;
  }

 private:
  std::string text() {
    switch (dice_.below(5)) {
      case 0:
        return "";
      case 1:
        return "\x1b[31m\xff\xfe\xc2\x9b"
               "31m \xe2\x80\xae|<&\"\\\n";
      case 2:
        return std::string(70'000, 'x');
      default: {
        const auto bytes = dice_.bytes(dice_.below(40));
        return {bytes.begin(), bytes.end()};
      }
    }
  }

  /// Bytes that hold something themselves are changed inside as a rule.
  std::string inside(const std::string& name, const std::string& bytes) {
    if (name == "truth") {
      capture::Truth truth;
      if (!dice_.chance(4) && truth.ParseFromString(bytes)) {
        forge(truth);
        return truth.SerializeAsString();
      }
    }
    std::vector<HopRow> rows;
    if (name == "rows" && !dice_.chance(4) && decode_rows(bytes, 0, rows) && !rows.empty()) {
      forge(rows[dice_.below(rows.size())]);
      std::string columns;
      encode_rows(rows, 0, columns);
      return columns;
    }
    if (name == "measures" && !bytes.empty() && !dice_.chance(4)) {
      std::string changed = bytes;
      changed[dice_.below(changed.size())] = static_cast<char>(dice_.next());
      return changed;
    }
    return text();
  }

  void forge(HopRow& row) {
    switch (dice_.below(7)) {
      case 0:
        row.link = static_cast<std::uint16_t>(number());
        break;
      case 1:
        row.symptom = static_cast<Symptom>(number());
        break;
      case 2:
        row.start = static_cast<Nanos>(number());
        break;
      case 3:
        row.end = static_cast<Nanos>(number());
        break;
      case 4:
        row.attempt = static_cast<std::uint8_t>(number());
        break;
      case 5:
        row.copy = static_cast<std::uint8_t>(number());
        break;
      default:
        row.chars = static_cast<std::uint16_t>(number());
        break;
    }
  }

  void set(google::protobuf::Message& message, const google::protobuf::FieldDescriptor& field) {
    using Field = google::protobuf::FieldDescriptor;
    const auto* reflection = message.GetReflection();
    switch (field.cpp_type()) {
      case Field::CPPTYPE_INT32:
        return reflection->SetInt32(&message, &field, static_cast<std::int32_t>(number()));
      case Field::CPPTYPE_INT64:
        return reflection->SetInt64(&message, &field, static_cast<std::int64_t>(number()));
      case Field::CPPTYPE_UINT32:
        return reflection->SetUInt32(&message, &field, static_cast<std::uint32_t>(number()));
      case Field::CPPTYPE_UINT64:
        return reflection->SetUInt64(&message, &field, number());
      case Field::CPPTYPE_BOOL:
        return reflection->SetBool(&message, &field, !reflection->GetBool(message, &field));
      case Field::CPPTYPE_STRING:
        return reflection->SetString(&message, &field, inside(field.name(), reflection->GetString(message, &field)));
      case Field::CPPTYPE_MESSAGE:
        return forge(*reflection->MutableMessage(&message, &field));
      default:
        return;
    }
  }

  void set_repeated(google::protobuf::Message& message, const google::protobuf::FieldDescriptor& field, int at) {
    using Field = google::protobuf::FieldDescriptor;
    const auto* reflection = message.GetReflection();
    switch (field.cpp_type()) {
      case Field::CPPTYPE_INT32:
        return reflection->SetRepeatedInt32(&message, &field, at, static_cast<std::int32_t>(number()));
      case Field::CPPTYPE_UINT32:
        return reflection->SetRepeatedUInt32(&message, &field, at, static_cast<std::uint32_t>(number()));
      case Field::CPPTYPE_BOOL:
        return reflection->SetRepeatedBool(&message, &field, at, dice_.chance(2));
      case Field::CPPTYPE_STRING:
        return reflection->SetRepeatedString(&message, &field, at, text());
      default:
        return;
    }
  }

  void add(google::protobuf::Message& message, const google::protobuf::FieldDescriptor& field) {
    using Field = google::protobuf::FieldDescriptor;
    const auto* reflection = message.GetReflection();
    switch (field.cpp_type()) {
      case Field::CPPTYPE_INT32:
        return reflection->AddInt32(&message, &field, static_cast<std::int32_t>(number()));
      case Field::CPPTYPE_UINT32:
        return reflection->AddUInt32(&message, &field, static_cast<std::uint32_t>(number()));
      case Field::CPPTYPE_BOOL:
        return reflection->AddBool(&message, &field, dice_.chance(2));
      case Field::CPPTYPE_STRING:
        return reflection->AddString(&message, &field, text());
      case Field::CPPTYPE_MESSAGE:
        reflection->AddMessage(&message, &field);
        return;
      default:
        return;
    }
  }

  Dice& dice_;
};

/// The records of a capture written anew by `change(kind, message)`, with good check values round them.
template <class Change>
std::vector<std::uint8_t> rewritten(const std::vector<std::uint8_t>& capture, Change change) {
  CaptureReader reader(std::make_unique<MemorySource>(capture));
  MemoryFile file;
  {
    BlockWriter writer(file, "memory", origin().run_id);
    BlockReader::Raw raw;
    while (reader.next_raw(raw)) {
      const auto message = message_of(raw.kind);
      REQUIRE(message);
      REQUIRE(message->ParseFromArray(raw.payload.data(), static_cast<int>(raw.payload.size())));
      if (auto* end = dynamic_cast<capture::End*>(message.get())) {
        end->set_records(writer.records());
        end->set_crc_of_crcs(writer.crc_of_crcs());
      }
      change(static_cast<RecordKind>(raw.kind), *message);
      const std::string payload = message->SerializeAsString();
      const auto* bytes = reinterpret_cast<const std::uint8_t*>(payload.data());
      writer.append(static_cast<RecordKind>(raw.kind), std::span(bytes, payload.size()), 0);
    }
  }
  return file.bytes;
}

/// The same capture with about one field in so many records forged; the head's now and then.
inline std::vector<std::uint8_t> forged(const std::vector<std::uint8_t>& capture, std::uint64_t seed,
                                        std::uint64_t one_in) {
  Dice dice(seed);
  Forger forger(dice);
  return rewritten(capture, [&](RecordKind kind, google::protobuf::Message& message) {
    if (kind == RecordKind::head ? dice.chance(3) : dice.chance(one_in)) forger.forge(message);
  });
}

}  // namespace hopbench::sample
