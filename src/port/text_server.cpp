#include "port/text_server.h"

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/read_until.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/streambuf.hpp>
#include <boost/asio/write.hpp>
#include <charconv>
#include <chrono>
#include <exception>
#include <istream>
#include <mutex>
#include <string_view>
#include <system_error>
#include <thread>
#include <utility>

namespace hopbench {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using Error = boost::system::error_code;

constexpr std::size_t most_request_bytes = 4096;
constexpr std::size_t most_clients = 16;
constexpr auto patience = std::chrono::seconds(5);

std::string answer_to(const std::string& line, const std::string& text, const std::string& content_type) {
  std::string_view rest = line;
  const auto word = [&rest] {
    const auto end = std::min(rest.find(' '), rest.size());
    const auto found = rest.substr(0, end);
    rest.remove_prefix(std::min(end + 1, rest.size()));
    return found;
  };
  const auto method = word();
  const auto path = word();
  const auto with = [](std::string_view status, std::string_view type, std::size_t length, std::string_view body) {
    return "HTTP/1.1 " + std::string(status) + "\r\nContent-Type: " + std::string(type) +
           "\r\nContent-Length: " + std::to_string(length) + "\r\nConnection: close\r\n\r\n" + std::string(body);
  };
  constexpr std::string_view plain = "text/plain; charset=utf-8";
  if (method != "GET" && method != "HEAD") return with("405 Method Not Allowed", plain, 0, "");
  if (path != "/metrics" && path != "/") return with("404 Not Found", plain, 18, "look at /metrics\r\n");
  return with("200 OK", content_type, text.size(), method == "GET" ? std::string_view(text) : std::string_view());
}

std::system_error as_system_error(const Error& error) {
  return {std::error_code(error.value(), std::system_category()), "listen"};
}

}  // namespace

bool parse_endpoint(const std::string& text, std::string& address, std::uint16_t& port) {
  const auto colon = text.rfind(':');
  if (colon == std::string::npos) return false;
  address = text.substr(0, colon);
  if (address.size() >= 2 && address.front() == '[' && address.back() == ']') {
    address = address.substr(1, address.size() - 2);
  }
  const char* end = text.data() + text.size();
  const auto [read, error] = std::from_chars(text.data() + colon + 1, end, port);
  Error no_address;
  (void)asio::ip::make_address(address, no_address);
  return error == std::errc() && read == end && !no_address;
}

struct TextServer::Parts {
  explicit Parts(std::string type) : acceptor(context), again(context), content_type(std::move(type)) {}

  /// One who asks, until it is answered or has taken too long.
  struct Client : std::enable_shared_from_this<Client> {
    Client(Parts& server, tcp::socket taken)
        : parts(server), socket(std::move(taken)), timer(server.context), buffer(most_request_bytes) {
      ++parts.clients;
    }
    ~Client() { --parts.clients; }
    Client(const Client&) = delete;
    Client& operator=(const Client&) = delete;

    void start() {
      auto self = shared_from_this();
      timer.expires_after(patience);
      timer.async_wait([self](const Error& error) {
        Error ignored;
        if (!error) self->socket.close(ignored);
      });
      asio::async_read_until(socket, buffer, "\r\n\r\n", [self](const Error& error, std::size_t) {
        if (error) return self->done();
        std::istream in(&self->buffer);
        std::string line;
        std::getline(in, line);
        self->reply = answer_to(line, self->parts.text_now(), self->parts.content_type);
        asio::async_write(self->socket, asio::buffer(self->reply), [self](const Error&, std::size_t) { self->done(); });
      });
    }
    void done() {
      timer.cancel();
      Error ignored;
      socket.shutdown(tcp::socket::shutdown_both, ignored);
      socket.close(ignored);
    }

    Parts& parts;
    tcp::socket socket;
    asio::steady_timer timer;
    asio::streambuf buffer;
    std::string reply;
  };

  std::string text_now() {
    const std::lock_guard lock(mutex);
    return text;
  }
  void accept() {
    acceptor.async_accept([this](const Error& error, tcp::socket socket) {
      if (error == asio::error::operation_aborted) return;
      if (error) {
        // No descriptor left, say: a little later there may be.
        again.expires_after(std::chrono::seconds(1));
        again.async_wait([this](const Error&) { accept(); });
        return;
      }
      // One too many is closed at once.
      if (clients < most_clients) std::make_shared<Client>(*this, std::move(socket))->start();
      accept();
    });
  }

  asio::io_context context;
  tcp::acceptor acceptor;
  asio::steady_timer again;
  std::string content_type;
  std::size_t clients = 0;  // of the server's thread
  std::mutex mutex;
  std::string text;
  std::thread thread;
};

TextServer::TextServer(const std::string& address, std::uint16_t port, std::string content_type)
    : parts_(std::make_unique<Parts>(std::move(content_type))) {
  Error error;
  const auto ip = asio::ip::make_address(address, error);
  if (error) throw as_system_error(error);
  const tcp::endpoint endpoint(ip, port);
  auto& acceptor = parts_->acceptor;
  if (acceptor.open(endpoint.protocol(), error)) throw as_system_error(error);
  acceptor.set_option(tcp::acceptor::reuse_address(true), error);
  if (acceptor.bind(endpoint, error)) throw as_system_error(error);
  if (acceptor.listen(static_cast<int>(most_clients), error)) throw as_system_error(error);
  parts_->accept();
  parts_->thread = std::thread([parts = parts_.get()] {
    // No memory for a client costs that client; the run that is looked at goes on.
    while (!parts->context.stopped()) {
      try {
        parts->context.run();
      } catch (const std::exception&) {
      }
    }
  });
}

TextServer::~TextServer() {
  parts_->context.stop();
  parts_->thread.join();
}

void TextServer::show(std::string text) {
  const std::lock_guard lock(parts_->mutex);
  parts_->text = std::move(text);
}

std::uint16_t TextServer::port() const {
  Error error;
  return parts_->acceptor.local_endpoint(error).port();
}

}  // namespace hopbench
