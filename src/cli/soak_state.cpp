#include "cli/soak_state.h"

#include <string_view>

#include "base/archive.h"
#include "base/luck.h"
#include "pack/pack.h"

namespace hopbench {
namespace {

/// A file each 30 s for thirty years.
constexpr std::uint32_t most_details = 40'000'000;

void keep_text(Archive& archive, std::string_view what, std::string& text) {
  archive.list(what, text, [&](char& each) { archive.number("letter", each); });
}

void keep_standing(Archive& archive, StartSpec& standing) {
  archive.span("standing at", standing.at);
  archive.number("round", standing.round);
  archive.flag("charged", standing.charged);
  archive.list("standing", standing.nodes, [&](StartSpec::Standing& each) {
    archive.number("node", each.node);
    archive.list("charge", each.charge_ppm,
                 [&](std::int64_t& cell) { archive.number("ppm", cell, std::int64_t{0}, std::int64_t{2'000'000}); });
    archive.maybe("board", each.board_mc, [&](std::int32_t& mc) { archive.number("temperature", mc); });
  });
}

void keep_lateness(Archive& archive, Lateness& lateness) {
  for (std::uint64_t* each : {&lateness.sends, &lateness.stalls, &lateness.not_fetched, &lateness.nobody_there})
    archive.number("lateness", *each);
  for (Nanos* each : {&lateness.worst, &lateness.total, &lateness.worst_stall, &lateness.stalled, &lateness.port_median,
                      &lateness.port_99})
    archive.span("late", *each);
}

/// But for the permissions, which are given each time.
void keep_at_port(Archive& archive, SoakAtPort& at_port) {
  PortOptions& port = at_port.port;
  keep_text(archive, "pty", port.pty);
  keep_text(archive, "socket", port.socket);
  keep_text(archive, "serial", port.serial);
  keep_text(archive, "time-out", port.time_out);
  archive.span("at", at_port.at);
  archive.span("wall", at_port.wall);
  archive.number("file", at_port.file, 1U, most_details);
  keep_standing(archive, at_port.standing);
  at_port.clock.keep(archive);
  keep_lateness(archive, at_port.lateness);
}

/// The same, both for saving and for going on.
void keep(Archive& archive, SoakJob& job, Soak& soak, std::uint32_t& next) {
  // All that the scenario says counts: its requirements and its length are in no fingerprint of the chain.
  const std::uint64_t is = name_hash(job.scenario.bus_text, name_hash(job.scenario.scenario_text));
  std::uint64_t scenario = is;
  archive.number("scenario", scenario);
  if (archive.good() && scenario != is) archive.refuse("scenario", "was changed since; begin again in another folder");
  archive.flag("full", job.full);
  archive.number("resumed", job.resumed);
  archive.number("most bytes", job.most_bytes);
  archive.number("next detail", next, 1U, most_details);
  keep_text(archive, "controller", job.controller);
  keep_text(archive, "hang after", job.hang_after);
  keep_at_port(archive, job.at_port);
  archive.list("chain", job.state, [&](std::uint8_t& byte) { archive.number("byte", byte); });
  soak.keep(archive);
  archive.end();
}

/// What was put back can be of this chain.
bool fits(const SoakJob& job) {
  const SoakAtPort& at_port = job.at_port;
  if (!at_port.any()) return true;
  const auto& chain = job.scenario.chain;
  bool good = at_port.port.places() == 1 && at_port.at >= job.start && at_port.at <= job.until + Pack::step;
  for (const auto& standing : at_port.standing.nodes) {
    good = good && standing.node < chain.nodes.size() &&
           (standing.charge_ppm.empty() ||
            standing.charge_ppm.size() == chain.kinds[chain.nodes[standing.node].kind].cells);
  }
  return good;
}

}  // namespace

SoakJob::SoakJob(Scenario what, std::uint64_t bytes)
    : scenario(std::move(what)),
      start(scenario.chain.start.at),
      until(start + scenario.chain.run_for),
      most_bytes(bytes) {}

StateHead head_of(const SoakJob& job) {
  return {fingerprint(job.scenario.bus, job.scenario.chain), job.scenario.chain.seed};
}

std::vector<std::uint8_t> soak_state(SoakJob& job, Soak& soak, std::uint32_t next_detail) {
  Archive archive;
  keep(archive, job, soak, next_detail);
  return wrap_state(state_of_soak, head_of(job), archive.bytes());
}

std::string take_up_soak(std::span<const std::uint8_t> bytes, SoakJob& job, Soak& soak, std::uint32_t& next_detail) {
  std::string why;
  const auto inner = unwrap_state(state_of_soak, head_of(job), bytes, why);
  if (!why.empty()) return why;
  Archive archive(inner);
  keep(archive, job, soak, next_detail);
  if (!archive.good()) return archive.why();
  return fits(job) ? std::string() : "is of another chain";
}

}  // namespace hopbench
