// A chain and a controller that takes part in virtual time: the chain's time goes on only while the controller waits.
// Reads no clock and waits for nothing; whoever moves the bytes tells what came and takes what there is to send.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/time.h"
#include "bus/description.h"
#include "port/granted_messages.h"
#include "wires/outlet.h"

namespace hopbench {

class Chain;

class GrantedSession {
 public:
  enum class State : std::uint8_t {
    asks,   // the controller has the word: bytes of it are wanted
    waits,  // it waits: go_on() is wanted
    over,   // the run is, and the controller has been told so
    gone,   // the controller has said that it ends
    wrong,  // it has sent what it must not: trouble() says what
    stuck,  // the chain goes round without time passing
  };

  /// The chain has an outside controller, and must outlive this. The run ends at `until`.
  GrantedSession(Chain& chain, const LineCoding& line, const std::string& bus, Nanos until);
  GrantedSession(const GrantedSession&) = delete;
  GrantedSession& operator=(const GrantedSession&) = delete;

  /// Bytes of the controller. Does what they say up to where it waits.
  State take(std::span<const std::uint8_t> bytes);
  /// Goes on with the wait, for some time of the chain at most, so that its caller can look at other things; again
  /// until the state is another one.
  State go_on();
  /// The run ends here, whatever the controller waits for.
  void stop();

  /// What there is for the controller; to be emptied by whoever sends it.
  [[nodiscard]] std::vector<std::uint8_t>& out() { return out_; }
  [[nodiscard]] State state() const { return state_; }
  /// What the controller did wrong, in words that go on from its name; "" if nothing.
  [[nodiscard]] const std::string& trouble() const { return trouble_; }
  /// Where the controller stands, in words: when it last began to wait, and after what.
  [[nodiscard]] std::string place() const;
  [[nodiscard]] bool has_said_hello() const { return greeted_; }
  /// What the controller calls itself; "" before it has said so.
  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] Nanos now() const;
  /// Lines that the controller has logged, oldest first; to be emptied.
  [[nodiscard]] std::vector<std::string>& logged() { return logged_; }

 private:
  State go_through();
  void on(const granted::Hello& hello);
  void on(const granted::Send& send);
  void on(const granted::Wait& wait);
  void on(const granted::Decided& decided);
  void on(const granted::Log& log);
  void on(const granted::Bye& bye);
  void on(const granted::Nonsense& nonsense);
  [[nodiscard]] bool greeted();
  State wrong(std::string what);
  [[nodiscard]] Nanos wakes_at();
  void hand_over();
  void grant(Nanos at);
  void end(granted::Ended why);
  void hear(std::span<const Nanos> ends, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> marks);

  Chain* chain_;
  Nanos until_;
  std::uint64_t char_half_bits_;
  Period bit_;
  State state_ = State::asks;
  granted::Ended ended_ = granted::Ended::time;
  bool greeted_ = false;
  granted::Inbox inbox_;
  std::vector<std::uint8_t> out_;
  std::string name_;
  std::string trouble_;
  std::vector<std::string> logged_;

  struct Later {
    Nanos at = 0;
    std::vector<std::uint8_t> bytes;
  };
  std::deque<Later> to_send_;          // by instant
  std::deque<granted::Char> coming_;   // on the wire to the controller
  std::vector<granted::Char> handed_;  // scratch
  granted::Wait wait_;
  granted::Granted why_ = granted::Granted::time;  // the wait ends as things stand
  std::size_t skipped_ = 0;                        // of coming_: they end no wait
  std::size_t looked_at_ = 0;                      // of coming_, for a pause between two of them
  Nanos waited_at_ = 0;                            // the last wait began then
  Nanos line_free_at_ = 0;                         // when all that was sent will have been on the first hop
  std::uint64_t sends_ = 0;
  std::uint64_t sent_here_ = 0;  // characters since it last waited
  std::uint64_t said_here_ = 0;  // messages since time last went on
  std::optional<std::uint64_t> last_decided_;
};

}  // namespace hopbench
