// Where a scenario's controller sits. The post keeps the books that the controller must not see: which exchange a frame
// belongs to, whether the answer that was taken is the right one, and why one came late.
#pragma once

#include <cstdint>

#include "chain/hop_listener.h"
#include "engine/event_queue.h"
#include "stations/controller.h"
#include "stations/controller_desk.h"
#include "wires/link.h"
#include "wires/link_end.h"
#include "wires/works.h"

namespace hopbench {

class ControllerPost final : public ControllerDesk, public LinkEnd, public Actor {
 public:
  explicit ControllerPost(Works& works);

  /// The link that it sends on; must outlive the post.
  void connect(Link& first) { first_ = &first; }
  [[nodiscard]] Controller& station() { return controller_; }
  [[nodiscard]] const Controller& station() const { return controller_; }
  /// No exchange is begun after that many.
  void ask_no_more_than(std::uint64_t most) { most_ = most; }
  [[nodiscard]] std::uint64_t most() const { return most_; }
  /// No exchange is open.
  [[nodiscard]] bool between() const { return exchange_ == no_exchange; }
  /// From now on each answer that is taken is kept in `to` as well; null: no more.
  void record_answer(Frame* to) { answer_record_ = to; }
  /// What the controller sends and hears it hears as well; must outlive the post.
  void listen(HopListener& listener) { listener_ = &listener; }

  // ControllerDesk
  [[nodiscard]] Nanos now() const override { return works_->queue.now(); }
  [[nodiscard]] bool may_begin() const override { return works_->traces.opened() < most_; }
  void wake(Nanos at, Rank rank, std::uint8_t port, std::uint64_t what) override;
  void begin(const Asking& asking, const Frame& ask) override;
  Sending ask(const Frame& ask, bool reads) override;
  void takes(Outcome outcome, const Frame& frame) override;
  void cannot_read() override;
  void has_no_use() override;
  void try_fails(Outcome outcome, Cause why) override;
  void gives_up(Outcome outcome) override;
  void about_to_look() override { works_->settle(); }

  // LinkEnd
  void heard(Nanos now, std::uint16_t link, const Finding& finding, Symptom symptom, const Flight* flight) override;
  [[nodiscard]] Period period() const override { return period_; }
  [[nodiscard]] const Processor* processor() const override { return &controller_.processor(); }

  // Actor
  void on_event(Nanos now, std::uint64_t what) override;
  [[nodiscard]] bool is_over(Nanos at, std::uint64_t what) const override;
  [[nodiscard]] bool may_be_due_in_quiet(std::uint64_t what) const override {
    return what < closes && controller_.may_be_due_in_quiet(what);
  }
  void keep(Archive& archive) {
    archive.number("most exchanges", most_);
    controller_.keep(archive);
  }

 private:
  static constexpr std::uint64_t closes = std::uint64_t{1} << 63U;  // a record is closed, and no wake-up

  /// What is being heard, and all that is known of it.
  struct InHand {
    const Finding* finding = nullptr;
    Symptom symptom = Symptom::none;
    std::uint16_t link = 0;
    bool known = false;  // the rest is
    Passport passport;
    Nanos end = 0;  // of the transmission at its receiver
  };
  [[nodiscard]] Blame why_late(const Trace& trace, const Attempt& attempt) const;
  [[nodiscard]] Outcome judge(const Trace& trace, bool mine, Outcome outcome, Blame& blame) const;
  void came_late();
  void settle(std::uint64_t exchange, std::uint8_t attempt, const Blame& blame);
  void decide(Trace& trace, Outcome outcome);
  void tell_listener(const Frame& ask, const Sent& sent) const;

  Works* works_;
  Period period_;
  Controller controller_;
  Link* first_ = nullptr;
  std::uint64_t most_ = ~std::uint64_t{0};
  Frame* answer_record_ = nullptr;
  HopListener* listener_ = nullptr;

  // the exchange at hand
  std::uint64_t exchange_ = no_exchange;
  std::uint64_t entry_hash_ = 0;
  std::uint64_t turn_ = 0;
  InHand in_hand_;
};

}  // namespace hopbench
