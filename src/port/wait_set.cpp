#include "port/wait_set.h"

#include <sys/epoll.h>

#include <algorithm>

namespace hopbench {

WaitSet::WaitSet() : epoll_(epoll_create1(EPOLL_CLOEXEC)) {}

void WaitSet::watch(int fd, bool input, bool room) {
  const std::uint32_t events = (input ? std::uint32_t{EPOLLIN} : 0U) | (room ? std::uint32_t{EPOLLOUT} : 0U);
  const auto at = std::find_if(members_.begin(), members_.end(), [fd](const Member& each) { return each.fd == fd; });
  if (at != members_.end() && at->events == events) return;
  epoll_event event{};
  event.events = events;
  epoll_ctl(epoll_.get(), at == members_.end() ? EPOLL_CTL_ADD : EPOLL_CTL_MOD, fd, &event);
  if (at == members_.end()) {
    members_.push_back({fd, events});
  } else {
    at->events = events;
  }
}

void WaitSet::forget(int fd) {
  if (std::erase_if(members_, [fd](const Member& each) { return each.fd == fd; }) == 0) return;
  epoll_ctl(epoll_.get(), EPOLL_CTL_DEL, fd, nullptr);
}

}  // namespace hopbench
