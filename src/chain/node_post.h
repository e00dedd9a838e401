// Where a node sits: its desk on one side, the ends of its links on the other. The post keeps the books that the node
// must not see: whose frame is in its hands, and what becomes of it.
#pragma once

#include <cstdint>
#include <deque>
#include <memory>
#include <vector>

#include "chain/hop_listener.h"
#include "chain/surroundings.h"
#include "engine/event_queue.h"
#include "stations/desk.h"
#include "stations/node.h"
#include "wires/link.h"
#include "wires/link_end.h"
#include "wires/works.h"

namespace hopbench {

/// One answer as its node made it.
struct AnswerRecord {
  std::uint32_t answers = 0;  // since it was cleared
  std::uint16_t node = nobody;
  Frame ask;  // as the node heard it
  Frame sent;
  Nanos asked_at = 0;
  Nanos filled_at = 0;
  Nanos taken_at = never;
  std::uint64_t frames_heard = 0;  // its counter when it filled the answer
};

class NodePost final : public Desk, public LinkEnd, public Actor {
 public:
  NodePost(Works& works, std::size_t index);

  /// All must outlive the post.
  void connect(const std::vector<std::unique_ptr<Link>>& links, Surroundings& surroundings);
  [[nodiscard]] Node& station() { return node_; }
  [[nodiscard]] const Node& station() const { return node_; }
  /// From now on each answer is kept in `to` as well; null: no more.
  void record_answers(AnswerRecord* to) { record_ = to; }
  /// What the node hears it hears as well; must outlive the post.
  void listen(HopListener& listener) { listener_ = &listener; }

  // Desk
  [[nodiscard]] Nanos now() const override { return works_->queue.now(); }
  void answer(std::uint16_t link, const Frame& frame, const AnswerNotes& notes) override;
  void refuse(std::uint16_t link, const Frame& frame) override;
  void pass_on(std::uint16_t link, const Frame& frame) override;
  void pass_on(std::uint16_t link, const Content& content) override;
  void later(Nanos at, std::uint32_t job) override;
  void drop_jobs(Cause why) override;
  void wake(Nanos at, std::uint32_t what) override;
  [[nodiscard]] std::int64_t cell_uv(std::uint32_t cell, Nanos at) const override;
  [[nodiscard]] std::int64_t bleed_drop_uv(std::uint32_t cell, std::uint32_t bled, Nanos at) const override;
  void changing() override { works_->changing(); }
  void bleeds_changing() override { works_->bleeds_changing(); }
  void bleeds_changed() override { surroundings_->bleeds_changed(); }
  void back_on() override { surroundings_->tell(); }
  void ends_here(Cause why) override;
  void takes() override;
  void mistakes() override;
  void takes_for_good() override;
  void no_room() override;

  // LinkEnd
  void heard(Nanos now, std::uint16_t link, const Finding& finding, Symptom symptom, const Flight* flight) override;
  [[nodiscard]] std::uint16_t node() const override { return static_cast<std::uint16_t>(node_.index()); }
  [[nodiscard]] Period period() const override { return node_.period(); }
  [[nodiscard]] const Processor* processor() const override { return &node_.processor(); }
  [[nodiscard]] bool off_in(Nanos from, Nanos to) const override { return node_.off_in(from, to); }
  [[nodiscard]] Nanos first_off_in(Nanos from, Nanos to) const override { return node_.first_off_in(from, to); }
  [[nodiscard]] Cause off_because(Nanos from, Nanos to, Cause injected) const override {
    return node_.off_because(from, to, injected);
  }
  [[nodiscard]] bool holds_line() const override { return node_.kind().holds_line; }
  void bleed_edges(std::vector<PulseTrain>& trains) const override { node_.bleed_edges(trains); }
  [[nodiscard]] bool ever_sleeps() const override { return node_.ever_sleeps(); }
  [[nodiscard]] bool sleeps_at(Nanos at) const override { return node_.sleeps_at(at); }
  void heard_edges(Nanos at) override { node_.heard_edges(at); }
  [[nodiscard]] Nanos wake_up() const override { return node_.kind().wake_up; }
  [[nodiscard]] const ForwardingSpec* passing() const override {
    return node_.kind().forwarding.kind == Forwarding::whole ? nullptr : &node_.kind().forwarding;
  }
  [[nodiscard]] bool takes_off(const Frame& frame, std::uint16_t link) const override {
    return node_.takes_off(frame, link);
  }
  [[nodiscard]] bool passes_bad_heads() const override { return node_.kind().on_bad_check == OnBadCheck::pass_on; }

  // Actor
  void on_event(Nanos now, std::uint64_t what) override;
  [[nodiscard]] bool is_over(Nanos /*at*/, std::uint64_t what) const override {
    return what < wakes && (what >> 32U) != generation_;
  }
  [[nodiscard]] bool may_be_due_in_quiet(std::uint64_t what) const override {
    return what >= wakes && Node::wakes_for(what - wakes);
  }

 private:
  static constexpr std::uint64_t wakes = std::uint64_t{1} << 63U;  // from here on: the node's own wake-ups
  /// Whose frame a job is for.
  struct Errand {
    bool open = false;
    Passport passport;
  };

  void send(std::uint16_t link, const Parcel& parcel);
  void send_on(std::uint16_t link, Parcel& parcel);
  [[nodiscard]] Parcel parcel_of(const Frame& frame, const Passport& passport) const;
  void count_waiting(std::uint32_t job, Nanos at, Passport& passport);

  Works* works_;
  const std::vector<std::unique_ptr<Link>>* links_ = nullptr;
  Surroundings* surroundings_ = nullptr;
  Node node_;
  AnswerRecord* record_ = nullptr;
  HopListener* listener_ = nullptr;
  std::deque<Errand> errands_;  // by job
  std::uint32_t generation_ = 0;

  // while the node is being told something
  const Passport nobodys_;
  const Passport* in_hand_ = &nobodys_;
  Passport heard_;
  const Finding* finding_ = nullptr;
  const Flight* flight_ = nullptr;
  std::uint16_t heard_on_ = nobody;
  std::uint32_t heard_row_ = 0xffffffff;
};

}  // namespace hopbench
