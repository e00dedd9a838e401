// `hopbench soak`, as a user runs it.
#include <regex>
#include <string>

#include "program.h"
#include "support/catch.h"
#include "support/flat.h"

namespace hopbench {
namespace {

const std::string ring16 = std::string(HOPBENCH_SOURCE_DIR) + "/captures/ring16.txtpb";

/// ring16 with other requirements.
void write_ring(const program::Folder& folder, const std::string& name, const std::string& requirements) {
  std::ifstream in{ring16};
  std::string line;
  std::string text;
  while (std::getline(in, line)) {
    if (!line.starts_with("requirement")) text += line + "\n";
  }
  folder.write(name, text + requirements);
}

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("soak: accepted, rejected, undecided") {
  const program::Folder folder;
  // Of 5,000,000 exchanges 0.27 % fail (docs/speed.md; captures/ring16.txtpb says how to work it out).
  write_ring(folder, "good.txtpb", "requirement { that: \"failed <= 0.5%\" acceptable: \"0.27%\" }\n");
  const auto good = folder.run("soak good.txtpb --for 80d");
  CHECK(good.exit_code == 0);
  CHECK(contains(good.out, "Verdict: ACCEPTED"));
  CHECK(contains(good.out, "Ended as soon as it was decided"));
  CHECK(contains(good.out, "In a simulated run of"));

  write_ring(folder, "bad.txtpb", "requirement { that: \"failed <= 0.2%\" acceptable: \"0.1%\" }\n");
  const auto bad = folder.run("soak bad.txtpb --for 80d");
  CHECK(bad.exit_code == 1);
  CHECK(contains(bad.out, "Verdict: REJECTED"));

  const auto open = folder.run("soak good.txtpb --for 10min");
  CHECK(open.exit_code == 4);
  CHECK(contains(open.out, "Verdict: UNDECIDED"));

  // One failure rejects where none is acceptable.
  write_ring(folder, "none.txtpb", "requirement { that: \"failed <= 1%\" acceptable: \"0%\" }\n");
  const auto none = folder.run("soak none.txtpb --for 80d --json");
  CHECK(none.exit_code == 1);
  CHECK(contains(none.out, "None is acceptable, so this was rejected"));
}

TEST_CASE("soak: a limit rejects as soon as it is passed, and is accepted at the end only") {
  const program::Folder folder;
  // A round of 16 nodes takes 22.1 s; one reply missing makes it 44.2 s.
  write_ring(folder, "tight.txtpb", "requirement { that: \"unseen <= 30s\" }\n");
  const auto tight = folder.run("soak tight.txtpb --for 80d");
  CHECK(tight.exit_code == 1);
  CHECK(contains(flat(tight.out), "limit 30.0 s"));
  write_ring(folder, "wide.txtpb", "requirement { that: \"unseen <= 10min\" }\n");
  const auto wide = folder.run("soak wide.txtpb --for 20d");
  CHECK(wide.exit_code == 0);
  CHECK(contains(wide.out, "after 20.0 d"));
  write_ring(folder, "trip.txtpb", "requirement { that: \"round_trip max <= 100ms\" }\n");
  CHECK(folder.run("soak trip.txtpb --for 2d").exit_code == 1);
}

TEST_CASE("soak: the sum of its days is the run that `run` tells of") {
  const program::Folder folder;
  const auto soak = folder.run("soak '" + ring16 + "' --for 12d --full --seed 5 --json");
  const auto run = folder.run("run '" + ring16 + "' --for 12d --seed 5 --json");
  const auto number = [](const std::string& text, const std::string& key) {
    std::smatch found;
    REQUIRE(std::regex_search(text, found, std::regex("\"" + key + "\": ([0-9]+)")));
    return std::stoull(found[1]);
  };
  CHECK(number(soak.out, "asked") == number(run.out, "asked"));
  CHECK(number(soak.out, "failed") == number(run.out, "asked") - number(run.out, "answered"));
}

TEST_CASE("soak: what is wrong with the command line or the scenario is one line") {
  const program::Folder folder;
  write_ring(folder, "nothing.txtpb", "");
  const auto nothing = folder.run("soak nothing.txtpb");
  CHECK(nothing.exit_code == 2);
  CHECK(contains(nothing.err, "says nothing of what is required; add for example: requirement {"));
  CHECK(folder.run("soak").exit_code == 2);
  CHECK(folder.run("soak '" + ring16 + "' --save-every 2min").exit_code == 2);
  CHECK(folder.run("soak '" + ring16 + "' --dir x --at-most 10").exit_code == 2);
  CHECK(folder.run("soak '" + ring16 + "' --save-every 10s").exit_code == 2);
  CHECK(folder.run("soak --resume x --full").exit_code == 2);
  for (const char* requirement :
       {"requirement { }", "requirement { that: \"lots\" }",
        "requirement { that: \"failed > 1%\" acceptable: \"0.1%\" }", "requirement { that: \"failed <= 1%\" }",
        "requirement { that: \"failed <= 1%\" acceptable: \"1%\" }",
        "requirement { that: \"failed <= 1% at n99\" acceptable: \"0.1%\" }",
        "requirement { that: \"check <= 1% on hop 99\" acceptable: \"0.1%\" }",
        "requirement { that: \"check <= 1% into nowhere\" acceptable: \"0.1%\" }",
        "requirement { that: \"failed <= 1% and unseen <= 2s\" acceptable: \"0.1%\" }",
        "requirement { that: \"failed <= 1%\" acceptable: \"0.1%\" reject_risk: \"30%\" }",
        "requirement { that: \"failed <= 1%\" acceptable: \"0.1%\" bunch: 0 }",
        "requirement { that: \"answered <= 99%\" acceptable: \"98%\" }",
        "requirement { that: \"unseen <= 2s\" acceptable: \"0.1%\" }"}) {
    write_ring(folder, "bad.txtpb", std::string(requirement) + "\n");
    INFO(requirement);
    const auto bad = folder.run("soak bad.txtpb");
    CHECK(bad.exit_code == 2);
    CHECK(contains(bad.err, "bad.txtpb:"));
  }
}

TEST_CASE("soak: a folder of its own, used once, taken up as often as need be") {
  const program::Folder folder;
  const auto whole = folder.run("soak '" + ring16 + "' --for 10d --full --dir kept --json");
  REQUIRE(whole.exit_code == 0);
  CHECK(folder.read("kept/verdict.json") == whole.out);
  CHECK(contains(folder.read("kept/verdict.txt"), "Verdict: ACCEPTED"));
  const auto details = folder.run("measure kept/detail-000001.hbcap --json");
  CHECK(details.exit_code == 0);
  const auto again = folder.run("soak '" + ring16 + "' --dir kept");
  CHECK(again.exit_code == 3);
  CHECK(contains(again.err, "there is something in it already"));
  // From where it was saved last, here the beginning, to the same end.
  auto resumed = folder.run("soak --resume kept --json");
  CHECK(resumed.exit_code == 0);
  CHECK(std::regex_replace(resumed.out, std::regex("\"resumed\": 1"), "\"resumed\": 0") == whole.out);
  CHECK(folder.run("soak --resume nowhere").exit_code == 3);
  const auto allowed = folder.run("soak --resume kept --send-on-real-port");
  CHECK(allowed.exit_code == 2);
  CHECK(contains(allowed.err, "go with a soak at a serial port"));
  folder.write("kept/state", "no state");
  const auto damaged = folder.run("soak --resume kept");
  CHECK(damaged.exit_code == 2);
  CHECK(contains(damaged.err, "kept/state: no saved state"));
}

TEST_CASE("soak: a state that was damaged anywhere is refused") {
  const program::Folder folder;
  REQUIRE(folder.run("soak '" + ring16 + "' --for 3d --full --dir kept").exit_code == 0);
  const std::string state = folder.read("kept/state");
  for (std::size_t at = 0; at < state.size(); at += 1 + state.size() / 23) {
    std::string damaged = state;
    damaged[at] = static_cast<char>(damaged[at] ^ 0x10);
    folder.write("kept/state", damaged);
    CHECK(folder.run("soak --resume kept").exit_code == 2);
  }
  folder.write("kept/state", state.substr(0, state.size() / 2));
  CHECK(folder.run("soak --resume kept").exit_code == 2);
  folder.write("kept/state", state);
  CHECK(folder.run("soak --resume kept").exit_code == 0);
}

// The lines of https://prometheus.io/docs/instrumenting/exposition_formats/ (text format 0.0.4): comments of HELP and
// TYPE, the type before its samples and once for each name; a sample is a name, labels, and a number.
TEST_CASE("soak: what was begun with one requirement does not go on with another") {
  const program::Folder folder;
  REQUIRE(folder.run("soak '" + ring16 + "' --for 3d --full --dir kept").exit_code == 0);
  const std::string scenario = folder.read("kept/scenario.txtpb");
  auto edited = scenario;
  edited.replace(edited.find("0.35%"), 5, "0.36%");
  folder.write("kept/scenario.txtpb", edited);
  const auto other = folder.run("soak --resume kept");
  CHECK(other.exit_code == 2);
  CHECK(contains(other.err, "was changed since"));
  folder.write("kept/scenario.txtpb", scenario);
  CHECK(folder.run("soak --resume kept").exit_code == 0);
}

TEST_CASE("soak: a node that never answers is rejected") {
  const program::Folder folder;
  write_ring(folder, "dead.txtpb",
             "requirement { that: \"failed <= 0.35% at n4\" acceptable: \"0.3%\" }\n"
             "fault { name: \"dead\" class: LOSS nodes: \"n4\" leg: ASKS into: \"n4\" }\n");
  const auto dead = folder.run("soak dead.txtpb --for 80d");
  CHECK(dead.exit_code == 1);
  CHECK(contains(dead.out, "The failures go on"));
}

TEST_CASE("soak: a limit that was passed is never told as kept") {
  const program::Folder folder;
  write_ring(folder, "limits.txtpb",
             "requirement { that: \"failed <= 1%\" acceptable: \"0%\" }\n"
             "requirement { that: \"unseen <= 30s\" }\nrequirement { that: \"round_trip max <= 100ms\" }\n");
  const auto ran = folder.run("soak limits.txtpb --for 10d --set every_hop.bit_error=1e-3");
  CHECK(ran.exit_code == 1);
  CHECK_FALSE(contains(ran.out, "so far within"));
  // A run that is shorter than the limit cannot pass it.
  write_ring(folder, "short.txtpb", "requirement { that: \"unseen <= 2min\" }\n");
  CHECK(folder.run("soak short.txtpb --for 1min").exit_code == 4);
}

TEST_CASE("soak: which cell went unread longest is told, and from when") {
  const program::Folder folder;
  // n4 is asked at 4.1472 s and then every 22.1184 s. What goes to it between 100 s and 150 s is lost, that is at
  // 114.7 s and at 136.9 s. So it is not read from the end of its answer at 92.6 s on for three rounds, 66.3552 s.
  write_ring(folder, "one.txtpb",
             "requirement { that: \"unseen <= 30s\" }\n"
             "fault { name: \"dead\" class: LOSS nodes: \"n4\" leg: ASKS into: \"n4\" from: \"100s\" to: \"150s\" }\n");
  const std::string how = "one.txtpb --set every_hop.bit_error=0 --for 5min";
  const auto told = folder.run("soak --full " + how);
  CHECK(told.exit_code == 1);
  CHECK(contains(flat(told.out), "longest time without a reading: 66.4 s (n4, cell 0, from 00:01:32), limit 30.0 s"));
  const std::string one_line = std::regex_replace(told.out, std::regex("\n +"), " ");
  CHECK(contains(one_line, "was 66.4 s (n4, cell 0, from 00:01:32 on the run's clock), which is more than 30.0 s."));
  // The same as the run's own summary.
  CHECK(contains(folder.run("run " + how).out, "66.4 s (n4, cell 0, from 00:01:32)"));
  const auto json = folder.run("soak --full --json " + how).out;
  std::smatch found;
  REQUIRE(std::regex_search(
      json, found,
      std::regex("\"unseen\": \\{\\s*\"node\": \"n4\",\\s*\"first_cell\": 0,\\s*\"cells\": 1,\\s*\"ever_seen\": true,"
                 "\\s*\"span_ns\": ([0-9]+),\\s*\"from_ns\": ([0-9]+)")));
  CHECK(std::stoll(found[1]) == 66'355'200'000);
  CHECK(std::stoll(found[2]) / 1'000'000'000 == 92);
}

TEST_CASE("soak: a cell that nothing asks for was never read") {
  const program::Folder folder;
  // Node n1 alone is asked.
  write_ring(folder, "some.txtpb", "requirement { that: \"unseen <= 10min\" }\n");
  const std::string polled = " --set 'controller.poll[cell].nodes[0]=n1' --for 2d";
  const auto all = folder.run("soak some.txtpb" + polled);
  CHECK(all.exit_code == 1);
  CHECK(contains(flat(all.out), "(n2, cell 0, never read, from 00:00:00)"));
  CHECK(folder.run("soak some.txtpb --set 'requirement[0].that=unseen <= 10min at n1'" + polled).exit_code == 0);
  CHECK(folder.run("soak some.txtpb --set 'requirement[0].that=unseen <= 10min at n9'" + polled).exit_code == 1);
}

TEST_CASE("soak: figures for a collector are Prometheus text") {
  const program::Folder folder;
  REQUIRE(folder.run("soak '" + ring16 + "' --for 2d --full --metrics-file figures.prom").exit_code == 0);
  std::istringstream lines(folder.read("figures.prom"));
  const std::regex sample(
      "([a-zA-Z_:][a-zA-Z0-9_:]*)(\\{([a-zA-Z_][a-zA-Z0-9_]*=\"([^\"\\\\\\n]|\\\\[\\\\\"n])*\",?)*\\})? "
      "(-?[0-9.]+(e[+-]?[0-9]+)?|NaN|[+-]Inf)");
  const std::regex comment("# (HELP|TYPE) ([a-zA-Z_:][a-zA-Z0-9_:]*) (.+)");
  std::string typed;
  std::size_t samples = 0;
  std::string seen;
  for (std::string line; std::getline(lines, line);) {
    std::smatch found;
    INFO(line);
    if (line.starts_with("#")) {
      REQUIRE(std::regex_match(line, found, comment));
      if (found[1] == "TYPE") {
        typed = found[2];
        CHECK((found[3] == "counter" || found[3] == "gauge"));
        CHECK_FALSE(contains(seen, " " + typed + " "));
        seen += " " + typed + " ";
      }
      continue;
    }
    REQUIRE(std::regex_match(line, found, sample));
    CHECK(found[1] == typed);
    ++samples;
  }
  CHECK(samples > 50);
  CHECK(contains(folder.read("figures.prom"), "hopbench_exchanges_total{outcome=\"answered\"} 124"));
  CHECK(contains(folder.read("figures.prom"), "hopbench_soak_elapsed_seconds 172800\n"));
}

TEST_CASE("soak: what came of the exchanges is told by outcome, and a short run hour by hour") {
  const program::Folder folder;
  // 24,000 s at one exchange every 1.3824 s are 17,361 exchanges, of which 3600 / 1.3824 = 2604 in a whole hour.
  const auto soak = folder.run("soak '" + ring16 + "' --for 24000s --full");
  const auto run = folder.run("run '" + ring16 + "' --for 24000s --json");
  std::smatch lost;
  REQUIRE(std::regex_search(run.out, lost, std::regex("\"lost\": ([0-9]+)")));
  CHECK(std::regex_search(soak.out, std::regex("\n  lost +" + lost[1].str() + " ")));
  CHECK(std::regex_search(soak.out, std::regex("\n    1 +2,60[45] ")));
  CHECK(std::regex_search(soak.out, std::regex("\n    7 +1,7[0-9][0-9] ")));
  CHECK_FALSE(contains(folder.run("soak '" + ring16 + "' --for 10min").out, "hour    exchanges"));
}

TEST_CASE("soak: figures tell when the state was saved, where there is one") {
  const program::Folder folder;
  const std::string how = "soak '" + ring16 + "' --for 2d --full --metrics-file figures.prom";
  REQUIRE(folder.run(how).exit_code == 0);
  CHECK_FALSE(contains(folder.read("figures.prom"), "saved_timestamp"));
  REQUIRE(folder.run(how + " --dir kept").exit_code == 0);
  CHECK(std::regex_search(folder.read("figures.prom"),
                          std::regex("\nhopbench_soak_saved_timestamp_seconds 1[0-9]{9}\n")));
}

TEST_CASE("soak: the plan for a soak at a port says what is different") {
  const program::Folder folder;
  const auto plan = folder.run("soak '" + ring16 + "' --plan --pty nowhere");
  CHECK(plan.exit_code == 0);
  CHECK(contains(plan.out, "In real time your controller sets the rate"));
  CHECK_FALSE(contains(folder.run("soak '" + ring16 + "' --plan").out, "In real time"));
}

TEST_CASE("soak: the plan names the lengths of the published table") {
  const program::Folder folder;
  // Test length over mean time between failures at 95 %: 2.996, 4.744, 6.296, 7.754 for 0 to 3 failures (NIST/SEMATECH
  // e-Handbook 8.3.1.1, from memory; chi-square(0.95; 2 r + 2) / 2). With a share of 0.01 % the number of trials is
  // that times 10,000.
  write_ring(folder, "plan.txtpb", "requirement { that: \"failed <= 0.01%\" acceptable: \"0.001%\" }\n");
  const auto plan = folder.run("soak plan.txtpb --plan --json");
  REQUIRE(plan.exit_code == 0);
  std::regex each("\"allowed\": ([0-9]+), \"trials\": ([0-9]+)");
  const double factors[] = {2.996, 4.744, 6.296, 7.754};
  std::size_t i = 0;
  for (std::sregex_iterator at(plan.out.begin(), plan.out.end(), each), end; at != end; ++at, ++i) {
    REQUIRE(i < 4);
    CHECK(std::stoull((*at)[1]) == i);
    CHECK(std::stod((*at)[2]) == Catch::Detail::Approx(factors[i] * 10'000).epsilon(0.0005));
  }
  CHECK(i == 4);
}

}  // namespace hopbench
