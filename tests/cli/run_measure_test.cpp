// `hopbench run` and `hopbench measure`: whole runs, in process and as the program that users have.
#include <fcntl.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/measures.h"
#include "measure/thinner.h"
#include "record/capture_tools.h"
#include "support/catch.h"
#include "text/scenario.h"
#include "view/summary.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

const std::string captures = HOPBENCH_SOURCE_DIR "/captures/";

struct Ran {
  MeasureFold fold;
  CauseFold causes;
  MemoryFile file;
};

void run_in_process(const std::string& scenario_path, Nanos span, Ran& ran) {
  std::string why;
  const auto file = read_text_file(scenario_path, why);
  REQUIRE(file);
  std::vector<Problem> problems;
  const auto scenario = load_scenario(*file, buses_beside(scenario_path), problems);
  REQUIRE(scenario);
  const Protocol protocol(scenario->bus);
  CaptureWriter writer(ran.file, "memory",
                       {run_id_of(scenario->scenario_text, scenario->bus_text, scenario->chain.seed),
                        scenario->scenario_text,
                        scenario->bus_text,
                        {}},
                       still_plan());
  FanOut all{&ran.fold, &ran.causes, &writer};
  Chain chain(protocol, scenario->chain, scenario->chain.seed, Way::events, Seat::simulated, all);
  REQUIRE(chain.run_until(span));
  chain.finish({});
}

class Folder {
 public:
  Folder() {
    std::string name = (std::filesystem::temp_directory_path() / "hopbench-test-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    path_ = name;
  }
  ~Folder() { std::filesystem::remove_all(path_); }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string file(const std::string& name) const { return (path_ / name).string(); }

 private:
  std::filesystem::path path_;
};

std::vector<std::uint8_t> read_all(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

void write_all(const std::string& path, const std::vector<std::uint8_t>& bytes) {
  std::ofstream out(path, std::ios::binary);
  out.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
}

struct Result {
  int exit_code = -1;
  std::string out;
  std::string err;
};

/// Through a shell; arguments must need no quoting.
Result hopbench_says(const Folder& folder, const std::string& arguments) {
  const auto out = folder.file("stdout");
  const auto err = folder.file("stderr");
  const int status = std::system((HOPBENCH_BINARY " " + arguments + " >" + out + " 2>" + err).c_str());
  Result result;
  result.exit_code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  const auto text = [](const std::string& path) {
    const auto bytes = read_all(path);
    return std::string(bytes.begin(), bytes.end());
  };
  result.out = text(out);
  result.err = text(err);
  return result;
}

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("measures of a run equal those of its capture, field for field") {
  for (const char* name : {"ring16.txtpb", "mixed.txtpb", "modbus-ring.txtpb", "line.txtpb"}) {
    CAPTURE(name);
    Ran ran;
    run_in_process(captures + name, 600 * second, ran);
    REQUIRE(ran.fold.measures().all.asked > 100);
    CaptureReader reader(std::make_unique<MemorySource>(ran.file.bytes));
    MeasureFold fold;
    CauseFold causes;
    FanOut both{&fold, &causes};
    replay(reader, both);
    CHECK(fold.measures() == ran.fold.measures());
    CHECK(causes.counts() == ran.causes.counts());
    CHECK(summary_json({fold.run(), fold.measures(), &causes.counts(), {}}) ==
          summary_json({ran.fold.run(), ran.fold.measures(), &ran.causes.counts(), {}}));
    // Observations alone give the same measures.
    CaptureReader again(std::make_unique<MemorySource>(ran.file.bytes));
    MeasureFold seen;
    replay_observations(again, seen);
    CHECK(seen.measures() == ran.fold.measures());
  }
}

TEST_CASE("a thinned capture, and one kept within a size, have the measures of the whole run") {
  const std::string path = captures + "ring16.txtpb";
  std::string why;
  const auto file = read_text_file(path, why);
  REQUIRE(file);
  std::vector<Problem> problems;
  const auto scenario = load_scenario(*file, buses_beside(path), problems);
  REQUIRE(scenario);
  ChainDescription chain_description = scenario->chain;
  for (LinkSpec& link : chain_description.links)
    link.bit_error = 5'000'000'000;  // 5e-6: more fails than there is room for
  const Protocol protocol(scenario->bus);
  constexpr std::uint64_t exchanges = 60'000;
  constexpr std::uint64_t most = 600'000;
  MeasureFold whole;
  {
    Chain chain(protocol, chain_description, 3, Way::repeats, Seat::simulated, whole);
    REQUIRE(chain.run_exchanges(exchanges));
    chain.finish({});
  }
  REQUIRE(whole.measures().all[Outcome::lost] > 300);

  const auto thinned = [&](std::uint32_t keep_one_in, std::uint32_t around, bool bounded) {
    MemoryFile memory;
    CaptureWriter writer(memory, "memory", {7, "", "", {}}, still_plan());
    Thinner thinner(writer, keep_one_in, around);
    if (bounded) thinner.keep_within(most, [&] { return writer.bytes(); });
    Chain chain(protocol, chain_description, 3, Way::repeats, Seat::simulated, thinner);
    REQUIRE(chain.run_exchanges(exchanges));
    chain.finish({});
    writer.drain();
    if (bounded) {
      CHECK(memory.bytes.size() <= most);
      CHECK(memory.bytes.size() > most / 2);  // the room there is is used
    }
    MeasureFold fold;
    CaptureReader reader(std::make_unique<MemorySource>(memory.bytes));
    replay_observations(reader, fold);
    CHECK_FALSE(reader.damage().in_the_middle());
    CHECK(fold.coverage().tallied > 0);
    CHECK(fold.measures() == whole.measures());
  };
  thinned(100, 2, false);
  thinned(0, 0, false);
  thinned(1, 2, true);
  thinned(0, 0, true);
}

TEST_CASE("the scenario in a capture is the one that was run") {
  Ran ran;
  run_in_process(captures + "mixed.txtpb", 10 * second, ran);
  CaptureReader reader(std::make_unique<MemorySource>(ran.file.bytes));
  Record record;
  REQUIRE(reader.next(record));
  const auto head = record.head;
  std::vector<Problem> problems;
  const auto scenario = load_scenario({"capture", head.scenario_text}, stored_bus(head.bus_text), problems);
  REQUIRE(scenario);
  CHECK(scenario->chain.name == head.run.scenario);
  CHECK(head.run_id == run_id_of(head.scenario_text, head.bus_text, head.run.seed));
}

TEST_CASE("run and measure print the same document, and the same run makes the same file") {
  const Folder folder;
  const auto a = folder.file("a.hbcap");
  const auto run = hopbench_says(folder, "run " + captures + "ring16.txtpb --for 1h --json --capture " + a);
  REQUIRE(run.exit_code == 0);
  CHECK(run.err.empty());
  CHECK(contains(run.out, "\"schema\": \"hopbench.summary/1\""));
  const auto measured = hopbench_says(folder, "measure --json " + a);
  CHECK(measured.exit_code == 0);
  CHECK(measured.out == run.out);
  CHECK(measured.err.empty());
  const auto table =
      hopbench_says(folder, "run " + captures + "ring16.txtpb --for 1h --capture " + folder.file("b.hbcap"));
  CHECK(hopbench_says(folder, "measure " + a).out == table.out);
  CHECK((read_all(a) == read_all(folder.file("b.hbcap"))));
  const auto other = hopbench_says(folder, "run " + captures + "ring16.txtpb --for 1h --json --seed 99");
  CHECK(other.exit_code == 0);
  CHECK(other.out != run.out);
}

TEST_CASE("a run of a number of exchanges closes that number") {
  const Folder folder;
  const auto run = hopbench_says(folder, "run " + captures + "ring16.txtpb --exchanges 321 --json");
  CHECK(run.exit_code == 0);
  CHECK(contains(run.out, "\"asked\": 321,"));
}

TEST_CASE("input that is wrong is told in one line and ends with 2") {
  const Folder folder;
  const auto scenario = captures + "ring16.txtpb";
  write_all(folder.file("text"), {'n', 'o', ' ', 'c', 'a', 'p'});
  for (const std::string& arguments :
       std::vector<std::string>{"run " + scenario + " --for 5", "run " + scenario + " --for 0s",
                                "run " + scenario + " --for 36501d", "run " + scenario + " --exchanges 0",
                                "run /no/such/scenario", "measure " + folder.file("text"), "measure " + scenario}) {
    CAPTURE(arguments);
    const auto said = hopbench_says(folder, arguments);
    CHECK(said.exit_code == 2);
    CHECK(said.out.empty());
    CHECK(std::count(said.err.begin(), said.err.end(), '\n') == 1);
  }
  CHECK(hopbench_says(folder, "run " + scenario + " --for 1s --exchanges 3").exit_code == 2);
}

TEST_CASE("files that cannot be used end with 3, and a capture is never written over") {
  const Folder folder;
  CHECK(hopbench_says(folder, "measure /no/such/file").exit_code == 3);
  CHECK(hopbench_says(folder, "measure /dev/zero").exit_code == 3);
  const auto path = folder.file("there");
  write_all(path, {1, 2, 3});
  const auto said = hopbench_says(folder, "run " + captures + "ring16.txtpb --for 10s --capture " + path);
  CHECK(said.exit_code == 3);
  CHECK(contains(said.err, "File exists"));
  CHECK(read_all(path) == std::vector<std::uint8_t>{1, 2, 3});
  CHECK(hopbench_says(folder, "run " + captures + "ring16.txtpb --capture /no/such/folder/x").exit_code == 3);
}

TEST_CASE("a full disk lets the run go on, and ends with 4") {
  if (::access("/dev/full", W_OK) != 0) return;
  const Folder folder;
  const auto said = hopbench_says(folder, "run " + captures + "ring16.txtpb --for 1h --capture /dev/full");
  CHECK(said.exit_code == 4);
  CHECK(contains(said.out, "Simulated: "));
  CHECK(contains(said.err, "records are not in it"));
}

TEST_CASE("a torn capture is measured with 0, a damaged one with 4, and stderr tells") {
  const Folder folder;
  const auto path = folder.file("a.hbcap");
  REQUIRE(hopbench_says(folder, "run " + captures + "ring16.txtpb --for 1h --capture " + path).exit_code == 0);
  const auto whole = read_all(path);
  REQUIRE(whole.size() > 3 * block_bytes);
  auto torn = whole;
  torn.resize(torn.size() - 200);
  write_all(path, torn);
  auto said = hopbench_says(folder, "measure --json " + path);
  CHECK(said.exit_code == 0);
  CHECK(contains(said.err, "not closed"));
  CHECK(contains(said.out, "\"unclosed\": true"));
  auto damaged = whole;
  damaged[block_bytes + 5000] ^= 0x10;
  write_all(path, damaged);
  said = hopbench_says(folder, "measure " + path);
  CHECK(said.exit_code == 4);
  CHECK(contains(said.err, "damaged: "));
  CHECK(contains(said.out, "The capture is damaged: "));
  damaged = whole;
  damaged[100] ^= 0x10;  // in the head
  write_all(path, damaged);
  said = hopbench_says(folder, "measure " + path);
  CHECK(said.exit_code == 2);
  CHECK(contains(said.err, "its head cannot be read"));
}

TEST_CASE("signals end a run in order, and even the last one leaves a good capture") {
  // The capture goes through a pipe: the run cannot get further ahead than the pipe lets it, and nothing has to be
  // waited for by the clock.
  for (const bool counted : {false, true}) {
    for (const int signal : {SIGINT, SIGTERM, SIGHUP, SIGKILL}) {
      CAPTURE(counted, signal);
      const Folder folder;
      const auto pipe = folder.file("pipe");
      REQUIRE(::mkfifo(pipe.c_str(), 0600) == 0);
      const auto out = folder.file("stdout");
      const pid_t child = ::fork();
      REQUIRE(child >= 0);
      if (child == 0) {
        if (std::freopen(out.c_str(), "w", stdout) == nullptr || std::freopen("/dev/null", "w", stderr) == nullptr)
          ::_exit(99);
        const std::string scenario = captures + "ring16.txtpb";
        ::execl(HOPBENCH_BINARY, HOPBENCH_BINARY, "run", scenario.c_str(), counted ? "--exchanges" : "--for",
                counted ? "1000000000" : "3000d", "--capture", pipe.c_str(), nullptr);
        ::_exit(99);
      }
      std::vector<std::uint8_t> bytes;
      const int end = ::open(pipe.c_str(), O_RDONLY);
      REQUIRE(end >= 0);
      std::array<std::uint8_t, 65536> some{};
      bool sent = false;
      for (ssize_t got = 0; (got = ::read(end, some.data(), some.size())) > 0;) {
        bytes.insert(bytes.end(), some.begin(), some.begin() + got);
        if (bytes.size() > 300'000 && !sent) {
          ::kill(child, signal);
          sent = true;
        }
      }
      ::close(end);
      int status = 0;
      REQUIRE(::waitpid(child, &status, 0) == child);
      const auto back = read_back(bytes);
      CHECK(back.lines.size() > 1000);
      CHECK_FALSE(back.damage.in_the_middle());
      if (signal == SIGKILL) {
        CHECK(WIFSIGNALED(status));
        CHECK(back.damage.unclosed);
        continue;
      }
      REQUIRE(WIFEXITED(status));
      CHECK(WEXITSTATUS(status) == 4);
      CHECK_FALSE(back.damage.unclosed);
      const auto summary = read_all(out);
      CHECK(contains({summary.begin(), summary.end()}, "Simulated: "));
    }
  }
}
