#include "picture/picture.h"

#include <algorithm>
#include <utility>

#include "picture/look_times.h"

namespace hopbench {
namespace {

/// Where a stretch begins in which nobody knows what happened; none if the record tells of no such thing.
std::optional<Nanos> hole_in(const Record& record) {
  if (record.kind == RecordKind::gap) return record.gap.from;
  if (record.kind == RecordKind::dropped || record.kind == RecordKind::hole) return record.dropped.from;
  return std::nullopt;
}

}  // namespace

Picture::~Picture() = default;

std::unique_ptr<Picture> Picture::open(const std::string& path, std::optional<std::string> program, std::string& why,
                                       bool& no_capture) {
  no_capture = false;
  std::unique_ptr<Picture> picture(new Picture());
  picture->path_ = path;
  picture->program_ = std::move(program);
  if (picture->program_) picture->opened_ = marks_of(path);
  picture->reader_ = open_capture(path, why);
  if (!picture->reader_) return nullptr;
  picture->look_ = open_capture(path, why);
  if (!picture->look_) return nullptr;
  Record& record = picture->record_;
  bool head = false;
  while (!head && picture->reader_->next(record)) head = record.kind == RecordKind::head;
  if (!head) {
    no_capture = true;
    why = picture->reader_->damage().newer ? "written by a newer hopbench" : "no capture, or its head cannot be read";
    return nullptr;
  }
  picture->run_ = record.head.run;
  picture->scenario_text_ = record.head.scenario_text;
  picture->bus_text_ = record.head.bus_text;
  picture->place_.run_id = record.head.run_id;
  picture->slices_.begin(picture->run_);
  if (const auto latest = picture->look_->latest()) picture->latest_ = *latest;
  picture->truth_.begin(picture->run_);
  IndexPlace place;
  const bool there = picture->program_ &&
                     load_index(index_path(path), picture->run_, record.head.run_id, picture->slices_, place) &&
                     picture->belongs(place);
  if (!there || !picture->go_on_after(place)) picture->begin_anew(Filter{});
  return picture;
}

bool Picture::belongs(const IndexPlace& place) const {
  if (place.program != program_) return false;
  if (is_same(place.marks, opened_)) return true;
  if (place.ended || !has_grown(place.marks, opened_)) return false;
  const auto& last = place.marks.files.back();
  return check_of_file(path_, last.segment, last.size) == place.marks.last_file;
}

bool Picture::go_on_after(const IndexPlace& place) {
  place_ = place;
  // A capture that ended stays as it is.
  if (place_.ended) {
    caught_up_ = true;
    reader_->latest();
    passed_by_ = reader_->damage();
    return true;
  }
  place_.ended = false;
  reader_->seek(place_.closed);
  Record record;
  while (reader_->next(record)) {
    const auto time = time_of(record);
    if (!time) continue;
    if (*time > place_.closed) break;
    const auto number = record.is_exchange() ? record.exchange.fixed.number : record.tally.fixed.last_number;
    if (*time != place_.closed || number != place_.number) continue;
    passed_by_ = reader_->damage();
    return true;
  }
  // Not there: the capture is not the one that the index was made of.
  return false;
}

void Picture::begin_anew(Filter filter) {
  slices_ = Slices(std::move(filter));
  slices_.begin(run_);
  std::string why;
  if (auto again = open_capture(path_, why)) reader_ = std::move(again);
  const auto run_id = place_.run_id;
  place_ = {};
  place_.run_id = run_id;
  passed_by_ = CaptureDamage{};
  after_hole_ = false;
  caught_up_ = false;
}

CaptureDamage Picture::damage() const {
  auto found = reader_->damage();
  const auto take_off = [](std::uint64_t& count, std::uint64_t known) { count -= std::min(count, known); };
  take_off(found.bytes_skipped, passed_by_.bytes_skipped);
  take_off(found.records_missing, passed_by_.records_missing);
  take_off(found.segments_missing, passed_by_.segments_missing);
  take_off(found.segments_misplaced, passed_by_.segments_misplaced);
  take_off(found.segments_cut, passed_by_.segments_cut);
  take_off(found.causes_unreadable, passed_by_.causes_unreadable);
  take_off(found.torn_before, passed_by_.torn_before);
  take_off(found.torn_bytes, passed_by_.torn_before);
  auto all = place_.damage;
  all.add(found);
  return all;
}

void Picture::settle_damage() {
  auto all = damage();
  all.torn_bytes = all.torn_before;
  all.unclosed = true;
  place_.damage = all;
  passed_by_ = reader_->damage();
  after_hole_ = false;
}

std::size_t Picture::grow(std::size_t records) {
  std::size_t count = 0;
  caught_up_ = false;
  while (count < records) {
    if (!reader_->next(record_)) {
      caught_up_ = true;
      break;
    }
    ++count;
    pass_on(record_, slices_);
    const auto time = time_of(record_);
    const bool other_file = std::exchange(files_read_, reader_->segments_read()) != reader_->segments_read();
    after_hole_ = after_hole_ || other_file || record_.kind == RecordKind::hole;
    if ((after_hole_ && time) || record_.kind == RecordKind::end) settle_damage();
    if (time) {
      place_.closed = *time;
      place_.number = record_.is_exchange() ? record_.exchange.fixed.number : record_.tally.fixed.last_number;
      latest_ = std::max(latest_, *time);
      if (record_.is_exchange()) {
        const Nanos open = record_.exchange.fixed.closed - record_.exchange.fixed.start;
        longest_open_ = std::clamp(open, longest_open_, 3600 * second);
      }
    }
    if (record_.kind == RecordKind::end) {
      place_.ended = true;
      latest_ = std::max(latest_, record_.end.until);
    }
  }
  return count;
}

std::optional<Nanos> Picture::read_until() const {
  if (slices_.empty()) return std::nullopt;
  return slices_.until();
}

Nanos Picture::from() const { return slices_.empty() ? std::min<Nanos>(0, latest_) : slices_.from(); }

Nanos Picture::until() const { return slices_.empty() ? latest_ : std::max(latest_, slices_.until()); }

void Picture::show(Filter filter) {
  if (!slices_.filter().any() && filter.any()) whole_ = Whole{slices_, place_};
  const bool all_again = !filter.any() && whole_;
  begin_anew(std::move(filter));
  if (!all_again) return;
  slices_ = std::move(whole_->slices);
  if (slices_.empty() || !go_on_after(whole_->place)) begin_anew(Filter{});
  whole_.reset();
}

bool Picture::keep() const {
  const bool filtered = slices_.filter().any();
  if (filtered && !whole_) return true;
  const auto& slices = filtered ? whole_->slices : slices_;
  if (slices.empty() || !program_) return true;
  IndexPlace place = filtered ? whole_->place : place_;
  place.program = *program_;
  place.marks = marks_of(path_);
  if (!is_same(place.marks, opened_)) {
    // Where something was amiss, it may have been mended since: then this is a picture of what is gone.
    if (!has_grown(opened_, place.marks) || damage().in_the_middle()) return true;
  }
  if (!place.ended) {
    const auto& last = place.marks.files.back();
    place.marks.last_file = check_of_file(path_, last.segment, last.size);
  }
  return save_index(index_path(path_), slices, place);
}

std::vector<NodeState> Picture::nodes_before(Nanos at) const {
  const auto until = read_until();
  if (!until || at > *until) return {};  // not read so far
  const auto around = slices_.sum(at, at + 1);
  if (!around.known || (around.missing & missing_hole) != 0) return {};
  return slices_.nodes_at(at);
}

ReadState Picture::reading(Nanos from, Nanos to) const {
  const auto until = read_until();
  if (caught_up_ || (until && to <= *until)) return ReadState::all;
  return until && from < *until ? ReadState::some : ReadState::none;
}

bool Picture::shows(const ExchangeObs& obs) const {
  return !slices_.filter().any() || slices_.filter().shows(obs, run_);
}

std::vector<TimeColumn> Picture::columns(Nanos from, Nanos span, std::size_t count) {
  std::vector<TimeColumn> columns(count);
  const auto until = read_until();
  const Nanos to = later(from, span * static_cast<Nanos>(count));
  const bool coarse = span >= slices_.slice_span() && span % slices_.slice_span() == 0;
  // A stretch that was too long to be read at once is not tried again before the slices reach there.
  const bool at_once = !coarse || to - from < too_long_;
  if (!coarse || (at_once && reading(from, to) != ReadState::all)) {
    Slices close(slices_.filter(), from, span, count);
    close.begin(run_);
    if (until && from > slices_.from() && from < *until) close.assume(slices_.sum(from, from + 1));
    const bool all = look_around(from, to, [&](const Record& record) {
      pass_on(record, close);
      return true;
    });
    if (all) close.hold_until(std::min(to, latest_));
    const bool whole = all || close.until() >= to;
    if (whole || !coarse) {
      for (std::size_t i = 0; i < count; ++i) {
        const Nanos start = from + span * static_cast<Nanos>(i);
        columns[i].slice = close.sum(start, start + span);
        const bool begun = close.until() > start;
        columns[i].read = whole || start + span <= close.until() ? ReadState::all
                          : begun                                ? ReadState::some
                                                                 : ReadState::none;
      }
      return columns;
    }
    too_long_ = to - from;
  }
  for (std::size_t i = 0; i < count; ++i) {
    const Nanos start = from + span * static_cast<Nanos>(i);
    columns[i].slice = slices_.sum(start, start + span);
    columns[i].read = reading(start, start + span);
  }
  return columns;
}

RunPart Picture::part(Nanos from, Nanos to) {
  if (to - from >= slices_.part_span() && read_until()) return slices_.part(from, to);
  MeasureFold fold;
  fold.begin(run_);
  RunPart part;
  part.size_for(run_);
  bool told = false;  // what nodes are like at the end, or that nobody knows
  const bool all = look_around(from, to, [&](const Record& record) {
    if (record.kind == RecordKind::state && record.state.fixed.at < to) {
      part.nodes = record.state.nodes;
      told = true;
    }
    if (const auto hole = hole_in(record); hole && *hole < to) {
      part.nodes.clear();
      told = true;
    }
    if (record.kind == RecordKind::tally && record.tally.fixed.from >= from && record.tally.fixed.from < to) {
      const auto tally = record.tally.seen();
      Measures counts;
      if (!slices_.filter().any() && Measures::parse(tally.measures, counts)) {
        fold.tally(tally);
        part.tried.count(counts);
      }
    }
    if (!record.is_exchange()) return true;
    const auto obs = record.exchange.seen();
    if (obs.start < from || obs.start >= to || !shows(obs)) return true;
    fold.exchange(obs, nullptr);
    part.count(slices_.stations(), obs, slices_.filter().any() ? std::max(1U, obs.kept_one_in) : 1);
    return true;
  });
  if (!all) return slices_.part(from, to);
  part.measures = fold.measures();
  if (!told) part.nodes = nodes_before(from);
  return part;
}

const Histogram* times_of(const RunPart& part, Timed what) {
  const auto& measures = part.measures;
  const auto in = [&](const auto& all) { return what.index < all.size() ? &all[what.index] : nullptr; };
  if (what.subject == Subject::hop) {
    const auto* link = in(measures.links);
    return link == nullptr ? nullptr : &link->transit;
  }
  if (what.subject == Subject::stay) {
    const auto* stay = in(part.stays);
    return stay == nullptr ? nullptr : &stay->passing;
  }
  const auto* some = in(what.subject == Subject::node ? measures.nodes : measures.by_topic);
  return some == nullptr ? nullptr : &some->round_trip;
}

std::vector<Histogram> Picture::times(Timed what, Nanos from, Nanos span, std::size_t count) {
  std::vector<Histogram> times(count);
  if (span % slices_.part_span() == 0 && read_until()) {
    for (std::size_t i = 0; i < count; ++i) {
      const Nanos start = from + span * static_cast<Nanos>(i);
      const auto part = slices_.part(start, start + span);
      if (const auto* found = times_of(part, what)) times[i] = *found;
    }
    return times;
  }
  const Nanos to = later(from, span * static_cast<Nanos>(count));
  const auto add = [&](Nanos at, Nanos time, std::uint64_t weight) {
    if (at >= from && at < to && time >= 0) times[static_cast<std::size_t>((at - from) / span)].add(time, weight);
  };
  const bool all = look(from, to, [&](const Record& record) {
    if (!record.is_exchange()) return true;
    const auto obs = record.exchange.seen();
    if (!shows(obs)) return true;
    if (what.subject == Subject::hop) {
      for (const auto& row : obs.rows) {
        if (row.link == what.index && row.heard_well()) add(row.start, row.end - row.start, obs.kept_one_in);
      }
      return true;
    }
    if (what.subject == Subject::stay) {
      slices_.stations().each_stay(obs, [&](std::uint16_t station, Nanos stay, bool answering) {
        if (station == what.index && !answering) add(obs.start, stay, obs.kept_one_in);
      });
      return true;
    }
    const auto& topics = slices_.topics();
    const bool here = what.subject == Subject::node ? obs.node == what.index
                                                    : obs.entry < run_.entries.size() && what.index < topics.size() &&
                                                          run_.entries[obs.entry].topic == topics[what.index];
    if (here) add(obs.start, obs.round_trip, obs.kept_one_in);
    return true;
  });
  if (!all) times.assign(count, Histogram{});
  return times;
}

ConditionsThen Picture::conditions(Nanos at) {
  ConditionsThen now;
  bool told = false;
  look_around(at, at, [&](const Record& record) {
    if (const auto time = time_of(record); time && *time > at) return false;
    if (record.kind == RecordKind::state && record.state.fixed.at <= at) {
      const auto& state = record.state;
      now = {true, state.fixed.cells_balancing, state.fixed.charge_ma, state.nodes};
      told = true;
    }
    if (const auto hole = hole_in(record); hole && *hole <= at) {
      now = {};
      told = true;
    }
    return true;
  });
  if (told) return now;
  now.nodes = nodes_before(at);
  const auto around = slices_.sum(at, at + 1);
  if (!around.known || (around.missing & missing_hole) != 0 || now.nodes.empty()) return now;
  now.known = true;
  now.cells_balancing = around.cells_balancing;
  now.charge_ma = around.charge_ma;
  return now;
}

}  // namespace hopbench
